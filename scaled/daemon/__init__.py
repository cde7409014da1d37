"""The daemon: wires the rooms together, and holds the threads, the one queue and the watchdog.

`inbox` is the queue into `bench_thread`, the only one that decides; `machine` is what it runs and `showing` what of it
is pinned up. `sink` is the way in for intents, `bench_scale` the one for weights, `health` what is told about all of
it; `daemon` is the wiring and `process` the life of the process.
"""
