"""The daemon: wires the rooms together, and holds the threads, the one queue and the watchdog.

`inbox` is the queue into the bench thread, `bench_thread` the only thread that decides, `sink` the way in for intents,
`health` what is told about all of it, and `daemon` the wiring and the life of the process.
"""
