"""The ways in which something is added, each drawn over the whole range that was seen.

Flows, lumps, spoons, eggs and hands are those of the simulator's figures; a hand sets things down in stages, with
dips and with pauses of up to a second, since that is what a recording shows. A lump is at least one division.
"""

from __future__ import annotations

from collections.abc import Callable

from scene_plate import Added, Plate

from scaled.simulator.forces import Force, landing

SHORTEST_PAUSE_S, LONGEST_PAUSE_S = 0.2, 1.0
LUMP_G, LARGEST_LUMP_G = 2.6, 8.4  # measured: the median and the largest lump of twelve pours
HAS_FINALE = 0.3


def jug(plate: Plate) -> None:
    """10 to 60 g/s and then 1 to 10; now and then with pauses."""
    source = plate.source
    if source.random() < 0.7:
        lasts_s = source.uniform(0.3, 3)
        plate.stream(source.uniform(10, 60) * lasts_s, lasts_s)
    for _ in range(source.choice((0, 0, 1, 2, 4))):
        plate.pause(SHORTEST_PAUSE_S, LONGEST_PAUSE_S)
        lasts_s = source.uniform(0.2, 1.5)
        plate.stream(max(plate.d_g, source.uniform(1, 40) * lasts_s), lasts_s)
    lasts_s = source.uniform(0.3, 2)
    plate.stream(source.uniform(1, 10) * lasts_s, lasts_s)


def lumps(plate: Plate) -> None:
    """A lumpy stream: each lump dips a little just after it has landed."""
    source = plate.source
    for index in range(source.randint(3, 15)):
        if index:
            plate.pause(0.05, LONGEST_PAUSE_S)
        plate.add(max(plate.d_g, min(LARGEST_LUMP_G, LUMP_G * source.lognormvariate(0, 0.7))))
        plate.forces.append(landing(-source.uniform(0.2, 0.8), plate.at + 0.02, lasts_s=0.1))


def sprinkle(plate: Plate) -> None:
    """Salt tapped off a spoon, a few divisions at a time."""
    source = plate.source
    for index in range(source.randint(3, 15)):
        if index:
            plate.pause(0.05, LONGEST_PAUSE_S)
        plate.add(plate.d_g * source.uniform(1, 6))


def spoons(plate: Plate) -> None:
    """Spoon after spoon, 2 to 15 g each, in quick succession."""
    source = plate.source
    for index in range(source.randint(1, 8)):
        if index:
            plate.pause(SHORTEST_PAUSE_S, LONGEST_PAUSE_S)
        plate.stream(max(2 * plate.d_g, source.uniform(2, 15)), source.uniform(0.05, 0.5))


def pinch(plate: Plate) -> None:
    """0.2 to 1 g between two fingers."""
    plate.stream(max(2 * plate.d_g, plate.source.uniform(0.2, 1.0)), plate.source.uniform(0.05, 1.0))


def egg(plate: Plate) -> None:
    """An egg out of its shell, at once; splashes 5 to 15 % over on the way."""
    mass_g = max(35.0, plate.source.gauss(50, 4))
    plate.forces.append(landing(mass_g * plate.source.uniform(0.05, 0.15), plate.at))
    plate.add(mass_g)


def hand(plate: Plate) -> None:
    """Set down in stages (eleven in a recording): each rises, may dip, may be held; let go of slowly now and then."""
    source = plate.source
    mass_g = source.choice((source.uniform(5, 60), source.uniform(60, 1200)))
    shares = sorted(source.random() for _ in range(source.randint(1, 10)))
    at_g = 0.0
    for share in [*shares, 1.0]:
        goal_g = mass_g * share
        if source.random() < 0.4:
            over_g = source.uniform(0, 0.2) * (goal_g - at_g)
            plate.stream(goal_g + over_g - at_g, source.uniform(0.03, 0.2))
            at_g = goal_g + over_g
        plate.stream(goal_g - at_g, source.uniform(0.03, 0.4))
        at_g = goal_g
        if share < 1 and source.random() < 0.5:
            if source.random() < 0.3:
                _held(plate)
            else:
                plate.pause(SHORTEST_PAUSE_S, LONGEST_PAUSE_S)
    if source.random() < 0.5:
        plate.stream(mass_g * source.uniform(0.002, 0.1), source.uniform(0.3, 1.5))


def spoon_out(plate: Plate) -> None:
    """2 to 15 g are spooned out, if there is as much."""
    plate.stream(-min(plate.level_g * 0.5, plate.source.uniform(2, 15)), plate.source.uniform(0.1, 0.6))


KINDS: dict[str, Callable[[Plate], None]] = {
    "jug": jug, "lumps": lumps, "sprinkle": sprinkle, "spoons": spoons, "pinch": pinch, "egg": egg, "hand": hand,
    "spoon out": spoon_out,
}  # fmt: skip


def _held(plate: Plate) -> None:
    """The hand still holds it, and is not quite still."""
    source = plate.source
    tremor_g, until = source.uniform(plate.d_g, 1.0), plate.at + source.uniform(0.3, LONGEST_PAUSE_S)
    while plate.at < until:
        push_g, lasts_s = source.gauss(0, tremor_g), source.uniform(0.03, 0.12)
        plate.forces.append(Force(plate.at, plate.at + lasts_s, _even(push_g)))
        plate.wait(lasts_s)


def _even(push_g: float) -> Callable[[float], float]:
    return lambda _: push_g


def addition(plate: Plate, kind: str, *, has_finale: float = HAS_FINALE) -> None:
    """One addition; that share of them gets a last lump of a division, or of many, after a pause."""
    source, start, before_g = plate.source, plate.at, plate.level_g
    plate.pauses_s.clear()
    KINDS[kind](plate)
    if source.random() < has_finale:
        plate.pause(SHORTEST_PAUSE_S, LONGEST_PAUSE_S)
        plate.add(plate.d_g * source.choice((source.uniform(1, 10), source.uniform(10, 100))))
    first = next(at for at, _ in plate.masses if at >= start)
    plate.added.append(Added(kind, first, plate.at, before_g, plate.level_g, tuple(plate.pauses_s)))
