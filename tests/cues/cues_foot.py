"""A cook's foot on a cheap pedal, as edges in time: presses with bounces, pauses, and glitches of a long cable.

What it draws can be told apart: a press is 45 ms or more from its first edge to its last, bounces of up to 9 ms at
either end included, a glitch at most 10 ms and 25 ms away from any other edge, and nobody taps twice within 45 ms
(common practice for keys and pedals: contacts bounce for up to some 10 ms).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from random import Random
from typing import Literal

Meant = Literal["short", "double", "long"]


@dataclass(frozen=True)
class Tapped:
    """What the foot meant, and the edges (time, closed) that it made; `at` is the first of them."""

    meant: Meant
    at: float
    edges: tuple[tuple[float, bool], ...]


def bounces(random: Random, at: float, *, closed: bool) -> Iterator[tuple[float, bool]]:
    """The contact settles to `closed` from `at`: the first edge, then up to six more within 9 ms."""
    yield at, closed
    for _ in range(random.choice((0, 0, 1, 2, 3))):
        at += random.uniform(0.0002, 0.0015)
        yield at, not closed
        at += random.uniform(0.0002, 0.0015)
        yield at, closed


def press(random: Random, at: float, held_s: float) -> list[tuple[float, bool]]:
    """One press: closed for `held_s` from first to last, now and then with a short opening within."""
    edges = list(bounces(random, at, closed=True))
    end = at + held_s
    if held_s > 0.15 and random.random() < 0.1:
        lost_at = random.uniform(edges[-1][0] + 0.03, end - 0.05)
        edges += [(lost_at, False), (lost_at + random.uniform(0.001, 0.01), True)]
    # The press ends where the contact opens for good: the bounces of the release come before that.
    release = list(bounces(random, 0.0, closed=False))
    return edges + [(end - release[-1][0] + t, closed) for t, closed in release]


def taps(random: Random, count: int) -> Iterator[Tapped]:
    """`count` taps after one another, with glitches between them."""
    at = 10.0
    for _ in range(count):
        meant: Meant = random.choices(("short", "double", "long"), (6, 3, 1))[0]
        edges = glitches(random, at)
        began_at = at = (edges[-1][0] if edges else at) + random.uniform(0.025, 0.3)
        first_s = random.uniform(0.81, 3.0) if meant == "long" else random.choice((0.045, random.uniform(0.045, 0.78)))
        edges += press(random, at, first_s)
        if meant == "double":
            at = edges[-1][0] + random.uniform(0.045, 0.39)
            edges += press(random, at, random.uniform(0.045, 0.78))
        yield Tapped(meant, began_at, tuple(edges))
        at = edges[-1][0] + 0.41


def glitches(random: Random, at: float) -> list[tuple[float, bool]]:
    """None, one or a burst of short closings that nobody meant."""
    edges = []
    for _ in range(random.choice((0, 0, 0, 1, 5))):
        at += random.uniform(0.025, 0.2)
        end = at + random.uniform(0.0001, 0.010)
        edges += [(at, True), (end, False)]
        at = end
    return edges
