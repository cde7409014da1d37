"""Bytes to Reading: line formats, ports, finding a scale, silence and loss.

A format (`line_format`, read from YAML by `formats`) says what a line looks like, the `parser` turns bytes into
readings and counts what it throws away, a `wire` is one port opened by its `options`, and `port` keeps one open for
ever, with a `backoff` between two tries. `find` knows which device is meant. `listen` hears a scale that nobody has set
up yet, and `detect` tells its format from what it sends.
"""
