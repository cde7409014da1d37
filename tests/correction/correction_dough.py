"""The dough of the worked cases, as values, and a few words to write bowls with."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from scaled.formula.situation import Correction, Situation, situation_of
from scaled.formula.values import Addition, Formula, Side, Stage, Tolerance, VesselPlan


def grams(value: float | str | Fraction) -> Fraction:
    """Grams in exact mg."""
    return Fraction(str(value) if isinstance(value, float) else value) * 1000


def percent(under: float, over: float | None = None) -> Tolerance:
    """`percent(1)` is ±1 %, `percent(4, 6)` +6 % / -4 %."""
    sides = (under, under if over is None else over)
    return Tolerance(*(Side(Fraction(str(side)) / 100, is_relative=True) for side in sides))


def fixed(under: float, over: float | None = None) -> Tolerance:
    """`fixed(0.3)` is ±0.3 g."""
    sides = (under, under if over is None else over)
    return Tolerance(*(Side(grams(side), is_relative=False) for side in sides))


def weighed(name: str, weight: float, tolerance: Tolerance, stage: str = "all", **more: Any) -> Addition:
    return Addition(name, stage, name, "weighed", grams(weight), tolerance, **more)


def formula_of(
    *additions: Addition,
    pieces: int | None = None,
    limits: tuple[float, float] = (0.5, 2),
    late: Iterable[str] | None = None,
    vessel: VesselPlan = "one bowl",
) -> Formula:
    """A formula of these additions; `late` names the stages that may be topped up once closed (None: all)."""
    names = list(dict.fromkeys(addition.stage for addition in additions))
    stages = tuple(
        Stage(
            name,
            tuple(addition for addition in additions if addition.stage == name),
            is_late=late is None or name in late,
            vessel=vessel,
        )
        for name in names
    )
    low, high = (Fraction(str(limit)) for limit in limits)
    return Formula("dough", "Dough", stages, None if pieces is None else Fraction(pieces), limits=(low, high))


def oat_dough(*, comes_out: bool = False, late: bool = True, pieces: int | None = 8, **more: Any) -> Formula:
    """240 g oat flour, 3 g salt, 220 g butter in stage `dry`; 50 g whole egg in stage `creamed`."""
    return formula_of(
        weighed("oat flour", 240, percent(1), "dry"),
        weighed("salt", 3, fixed(0.3), "dry", role="salt"),
        weighed("butter", 220, percent(1), "dry"),
        weighed(
            "whole egg",
            50,
            percent(2),
            "creamed",
            egg="whole",
            piece_mg=grams(50),
            share_out=Fraction(1 if comes_out else 0),
        ),
        pieces=pieces,
        late=None if late else ["creamed"],
        **more,
    )


def told(
    formula: Formula, inside: dict[str, float], *, stock: dict[str, float] | None = None, **more: Any
) -> Situation:
    """A situation in grams."""
    return situation_of(
        formula,
        {key: grams(mass) for key, mass in inside.items()},
        stock_mg={key: grams(mass) for key, mass in (stock or {}).items()},
        **more,
    )


def names(correction: Correction) -> list[str]:
    return [offer.offer for offer in correction.offers]
