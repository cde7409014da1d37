"""Eggs: how many to crack so that it is enough, and what is left of them.

The bench's rule of sixty (common practice): an egg of 60 g is 10 g shell, 20 g yolk and 30 g white, 50 g out of the
shell. An addition's own `piece` replaces it. One or two whole eggs go in as they come, and the formula bends to them;
from three on they are beaten and poured, and yolks and whites always are: then as many are cracked as are enough with
a probability of 95 %. The spread from egg to egg of one size is 4 % for the whole, 7 % for yolk and white (from memory,
low confidence: the kitchen's own eggs decide).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from scaled.formula.values import Addition, EggPart

RULE_OF_SIXTY_MG: dict[EggPart, Fraction] = {
    "whole": Fraction(50_000),
    "yolk": Fraction(20_000),
    "white": Fraction(30_000),
}
SPREAD: dict[EggPart, float] = {"whole": 0.04, "yolk": 0.07, "white": 0.07}
ENOUGH_Z = 1.6449  # the normal distribution's 95 % point, one-sided
MOST_IN_THE_PIECE = 2
KEEPS = "left-over egg keeps covered and chilled at most 48 h (common practice)"


@dataclass(frozen=True)
class Eggs:
    """How many eggs to crack, and what of each part is then left over, in mg."""

    crack: int
    left_over_mg: dict[EggPart, Fraction]


def piece_mg(addition: Addition) -> Fraction:
    """What one egg gives of the part that an addition needs; raises ValueError where it is no egg."""
    if addition.egg is None:
        raise ValueError(f"{addition.key} is no egg")
    return addition.piece_mg or RULE_OF_SIXTY_MG[addition.egg]


def eggs_for(additions: Sequence[Addition], factor: Fraction) -> Eggs | None:
    """The eggs for all egg additions at a factor; None where there is none to weigh.

    Yolks and whites come of the same eggs; whole eggs are others.
    """
    needs: dict[EggPart, list[Addition]] = {"whole": [], "yolk": [], "white": []}
    for addition in additions:
        if addition.egg is not None and not addition.is_told:
            needs[addition.egg].append(addition)
    if not any(needs.values()):
        return None
    whole = sum(_count(addition, factor) for addition in needs["whole"])
    parted = max(_enough(needs["yolk"], "yolk", factor), _enough(needs["white"], "white", factor))
    left: dict[EggPart, Fraction] = {}
    cracked_for: tuple[tuple[EggPart, int], ...] = (("whole", whole), ("yolk", parted), ("white", parted))
    for part, cracked in cracked_for:
        rest = cracked * _mean_mg(needs[part], part) - _need_mg(needs[part], factor)
        if rest > 0 and (part != "whole" or not _are_in_the_piece(needs[part], factor)):
            left[part] = rest
    return Eggs(whole + parted, left)


def pieces_text(addition: Addition, factor: Fraction) -> str | None:
    """What to say where an egg addition lands between whole eggs; None where it does not."""
    if addition.egg != "whole" or addition.tolerance is None:
        return None
    piece, target = piece_mg(addition), addition.target_mg(factor)
    count = target / piece
    if count > MOST_IN_THE_PIECE + Fraction(1, 2) or whole_pieces(addition, factor):
        return None
    return f"{float(target / 1000):.4g} g are {float(count):.3g} eggs of {float(piece / 1000):.4g} g: beat and pour it"


def whole_pieces(addition: Addition, factor: Fraction) -> int | None:
    """The number of whole eggs that lies in the band at a factor; None where there is none."""
    piece = piece_mg(addition)
    count = max(1, round(addition.target_mg(factor) / piece))
    lo, hi = addition.band_mg(factor)
    return count if lo <= count * piece <= hi else None


def _count(addition: Addition, factor: Fraction) -> int:
    """Whole eggs for one addition: as many as fit in the piece, else enough to pour from."""
    in_the_piece = whole_pieces(addition, factor)
    if in_the_piece is not None and in_the_piece <= MOST_IN_THE_PIECE:
        return in_the_piece
    return _enough([addition], "whole", factor)


def _are_in_the_piece(additions: Sequence[Addition], factor: Fraction) -> bool:
    return all((whole_pieces(addition, factor) or math.inf) <= MOST_IN_THE_PIECE for addition in additions)


def _enough(additions: Sequence[Addition], part: EggPart, factor: Fraction) -> int:
    """The fewest eggs that give the lower ends of the bands (the upper, by feel) with a probability of 95 %."""
    need = sum(addition.band_mg(factor)[1 if addition.kind == "by feel" else 0] for addition in additions)
    if need <= 0:
        return 0
    mean = float(_mean_mg(additions, part))
    count = max(1, math.floor(need / mean))
    while count * mean - ENOUGH_Z * SPREAD[part] * mean * math.sqrt(count) < need:
        count += 1
    return count


def _mean_mg(additions: Sequence[Addition], part: EggPart) -> Fraction:
    return piece_mg(additions[0]) if additions else RULE_OF_SIXTY_MG[part]


def _need_mg(additions: Sequence[Addition], factor: Fraction) -> Fraction:
    return sum((addition.target_mg(factor) for addition in additions), Fraction(0))
