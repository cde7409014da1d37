"""A simulated bench, as unkind as a real one. Only the demonstration and the tests import this room.

`scale` is the simulated scale: its `parameters`, its `response` to a load, `forces` that are no mass, the `lines` that
it sends; `pseudo_terminal` puts it behind a real serial line. `cook` is the simulated cook, `hands` what the cook does
to the plate, and `kitchen` plays whole batches of both without waiting.
"""
