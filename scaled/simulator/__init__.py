"""A simulated bench, as unkind as a real one: a scale (`scale.py`, on a pseudo-terminal in `pseudo_terminal.py`) and a
cook (`cook.py`). Nothing above and no daemon imports this room; the demo and the tests do.
"""
