"""The bench in each state that a cook can meet, as Snapshots: what the page is looked at with."""

from __future__ import annotations

from fractions import Fraction

from scaled.batch.cue import Cue
from scaled.batch.snapshot import (
    ShownAddition,
    ShownBatch,
    ShownDone,
    ShownTarget,
    ShownWeight,
    Snapshot,
)

WALL = "2026-11-24T06:00:00.000+01:00"
KEYS = ("oat flour", "sea salt", "butter", "whole egg")
BATCH = ShownBatch("20261124-1", "oat-short-dough", "Oat and honey short dough", Fraction(1), "running")


def mg(grams: float) -> int:
    return round(grams * 1000)


def weight(
    net_g: float, gross_g: float | None = None, rate_g_s: float = 0.0, *, is_settled: bool = True
) -> ShownWeight:
    gross = net_g + 812 if gross_g is None else gross_g
    return ShownWeight(mg(gross), mg(net_g), is_settled, rate_g_s, mg(gross + rate_g_s * 0.83))


def target(name: str, grams: float, stage: str = "dry") -> ShownTarget:
    return ShownTarget(name, stage, Fraction(mg(grams)))


def done(name: str, target_g: float, actual_g: float, stage: str = "dry", *, is_in: bool = True) -> ShownDone:
    return ShownDone(name, stage, Fraction(mg(target_g)), mg(actual_g), is_in)


def adding(
    name: str, target_g: float, net_g: float, phase: str, *, tolerance: float = 0.01, stage: str = "dry"
) -> ShownAddition:
    return ShownAddition(
        key=name,
        ingredient=name,
        stage=stage,
        target_mg=Fraction(mg(target_g)),
        remaining_mg=Fraction(mg(target_g) - mg(net_g)),
        band_mg=(mg(target_g * (1 - tolerance)), mg(target_g * (1 + tolerance))),
        phase=phase,  # type: ignore[arg-type]
    )


PLAIN = Snapshot(
    seq=1,
    at=0.0,
    wall=WALL,
    is_recorded=True,
    scale="bench",
    scale_state="ready",
    weight=weight(0.0, gross_g=812.4),
    batch=None,
    addition=None,
    upcoming=(),
    done=(),
    offers=(),
    cue=Cue("idle"),
    cautions=(),
)
