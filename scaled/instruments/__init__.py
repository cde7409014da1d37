"""Bytes to Reading: line formats, ports, finding a scale, silence and loss.

A format (`line_format`, read from YAML by `formats`) says what a line looks like, the `parser` turns bytes into
readings and counts what it throws away, a `wire` is one opened port, and `port` keeps one open for ever. `find` knows
which device is meant. `detect` tells the format of a scale from what it sends.
"""
