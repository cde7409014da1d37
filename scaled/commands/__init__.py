"""The commands, a module each; `scaled.cli` names them. What several share: `lazy`, `options`, `factor`, `kitchen` (the
formulas and settings that a file is read with) and `printing`.
"""
