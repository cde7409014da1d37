"""The demonstration: the daemon, a simulated scale on a real pseudo-terminal and a simulated cook, wired together.

`cases` says what goes wrong in each, `stage` sets it up and plays it, `story` tells it line by line.
"""
