"""What several tests need of a stage that is started again: a bowl with too much salt in it, and hands to empty it."""

from __future__ import annotations

from dataclasses import replace

from batch_plate import DOUGH, FACTS, Plate, stiff

from scaled.batch.events import BenchFacts
from scaled.formula.values import Formula

STIFF = stiff(DOUGH)
THROWN_G = 245.0


def with_known_bowls(*empty_g: float) -> BenchFacts:
    return replace(FACTS, vessels_mg=tuple((f"bowl {g:g}", round(g * 1000)) for g in empty_g))


def too_much_salt(formula: Formula = STIFF, facts: BenchFacts = FACTS) -> Plate:
    """240 g of flour and 5 g of salt where 3 g were asked: nothing makes up for it."""
    return Plate(formula, facts).set_bowl().add(240).add(5)


def begun_again(plate: Plate | None = None) -> Plate:
    return (too_much_salt() if plate is None else plate).wish("start again").rest(1)


def word(plate: Plate) -> tuple[str, str]:
    """The cue, and the newest phrase."""
    spoken = plate.bench.cue.spoken
    return plate.snapshot.cue.word, spoken.phrase if spoken else ""


def lifted(plate: Plate) -> Plate:
    return plate.add(-plate.load_g)
