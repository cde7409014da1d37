"""Ports that fail on purpose: URL handlers of pyserial's own kind, found by it like any other."""
