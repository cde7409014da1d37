"""A simulated bench, as unkind as a real one: a scale (`scale.py`, on a pseudo-terminal in `pseudo_terminal.py`) and a
cook (`cook.py`). Only the demonstration and the tests import this room.
"""
