"""The bench in each state that a cook can meet, as Snapshots: what the page is looked at with."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from scaled.batch.cue import Cue, Spoken
from scaled.batch.snapshot import (
    ShownAddition,
    ShownBatch,
    ShownDone,
    ShownOffer,
    ShownTarget,
    ShownWeight,
    Snapshot,
)
from scaled.formula.situation import Offer

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


def offer(index: int, name: str, factor: Fraction, bowl: tuple[float, ...], before: tuple[float, ...]) -> ShownOffer:
    """An offer out of the worked case of an egg of 57 g where 50 g was asked; `before` what is in or planned."""
    extra, weighings, deviation = (
        (Fraction(61470), 3, Fraction(2, 100)),
        (Fraction(64875), 3, Fraction(133, 10000)),
        (Fraction(71820), 3, Fraction(0)),
        (Fraction(7000), 0, Fraction(14, 100)),
    )[index]
    changes = tuple((k, mg(b), mg(a)) for k, b, a in zip(KEYS, before, bowl, strict=True) if mg(b) != mg(a))
    made = Offer(
        offer=name,
        factor=factor,
        bowl_mg=tuple(mg(grams) for grams in bowl),
        extra_mass_mg=extra,
        extra_weighings=weighings,
        taken_out_mg=0,
        worst_deviation=deviation,
        makes=factor * 8,
        cost=Fraction(45, 100) if weighings else Fraction(0),
    )
    return ShownOffer(made, KEYS, changes)


WAS = (240.0, 3.0, 220.0, 57.0)
OFFERS = (
    offer(0, "scale up, least", Fraction(19, 17), (268.235, 3.353, 245.882, 57.0), WAS),
    offer(1, "whole pieces", Fraction(9, 8), (270.0, 3.375, 247.5, 57.0), WAS),
    offer(2, "scale up, exact", Fraction(57, 50), (273.6, 3.42, 250.8, 57.0), WAS),
    offer(3, "keep", Fraction(1), (240.0, 3.0, 220.0, 57.0), WAS),
)
TAKE_OUT = replace(
    OFFERS[3],
    offer=replace(
        OFFERS[3].offer,
        offer="take out",
        bowl_mg=(240000, 3000, 220000, 50000),
        extra_mass_mg=Fraction(0),
        extra_weighings=1,
        taken_out_mg=7000,
        worst_deviation=Fraction(0),
    ),
    changes=(("whole egg", 57000, 50000),),
)
CAUTIONS = (
    "Raw flour and raw egg: do not taste the dough, wash hands and tools.",
    "Contains gluten (wheat, oats), milk and eggs. Follow the local code for allergens and ask a licensed person.",
)
RUNNING = replace(PLAIN, batch=BATCH, division_mg=100, cautions=CAUTIONS)
NEXT = (target("sea salt", 3), target("butter", 220, "creamed"), target("whole egg", 50, "creamed"))
DONE = (done("oat flour", 240, 240.4), done("sea salt", 3, 3.1), done("butter", 220, 219.2, "creamed"))
EGG = adding("whole egg", 50, 57, "asking", tolerance=0.02, stage="creamed")
LONG = "Sieved wholemeal buckwheat flour from the old mill by the weir, coarse"
TWELVE = tuple(target(f"{name} of the second kind", 12.5 * n) for n, name in enumerate(["starch", "sugar"] * 6, 1))

SCENES: dict[str, Snapshot] = {
    "plain": PLAIN,
    "plain moving": replace(PLAIN, weight=weight(0, gross_g=5432.1, rate_g_s=31, is_settled=False), division_mg=100),
    "vessel on": replace(
        RUNNING,
        cue=Cue("vessel on"),
        weight=weight(0, 0),
        upcoming=NEXT,
        addition=adding("oat flour", 240, 0, "vessel off"),
    ),
    "waiting": replace(
        RUNNING, cue=Cue("waiting"), weight=weight(0), upcoming=NEXT, addition=adding("oat flour", 240, 0, "waiting")
    ),
    "adding": replace(
        RUNNING,
        cue=Cue("pour"),
        weight=weight(116.2, rate_g_s=22, is_settled=False),
        upcoming=NEXT,
        addition=adding("oat flour", 240, 116.2, "adding"),
    ),
    "near": replace(
        RUNNING,
        cue=Cue("a little, then wait"),
        weight=weight(229.3, rate_g_s=4, is_settled=False),
        upcoming=NEXT,
        addition=adding("oat flour", 240, 229.3, "adding"),
    ),
    "in band": replace(
        RUNNING,
        cue=Cue("in band"),
        weight=weight(239.4),
        upcoming=NEXT,
        addition=adding("oat flour", 240, 239.4, "in band"),
    ),
    "under": replace(
        RUNNING,
        cue=Cue("under"),
        weight=weight(2.4),
        upcoming=NEXT[1:],
        done=DONE[:1],
        addition=adding("sea salt", 3, 2.4, "under", tolerance=0.1),
    ),
    "over": replace(
        RUNNING,
        cue=Cue("over"),
        weight=weight(57),
        done=DONE,
        addition=replace(EGG, phase="over"),
    ),
    "offers": replace(RUNNING, cue=Cue("choose"), weight=weight(57), done=DONE, addition=EGG, offers=OFFERS),
    "two offers": replace(
        RUNNING, cue=Cue("choose"), weight=weight(57), done=DONE, addition=EGG, offers=(TAKE_OUT, OFFERS[3])
    ),
    "start again": replace(
        RUNNING,
        cue=Cue("choose"),
        weight=weight(5),
        done=DONE[:1],
        upcoming=NEXT[1:],
        addition=adding("sea salt", 3, 5, "asking", tolerance=0.1),
        offers=(OFFERS[3],),
        start_again="dry",
        cautions=(
            "start stage dry again: sea salt cannot be made up for; that throws away 245 g, worth 0.29",
            "left as it is: sea salt +67 %",
            *CAUTIONS,
        ),
    ),
    "empty vessel": replace(
        RUNNING,
        cue=Cue("empty vessel", "over", spoken=Spoken(4, "empty the vessel", (("grams", "245"),))),
        weight=weight(245),
        upcoming=NEXT,
        addition=adding("oat flour", 240, 0, "vessel off"),
        cautions=(
            "empty the vessel, 245 g, worth 0.29, and put it back; stage dry begins again: oat flour, 240 g",
            "is it empty, or another vessel? Say 'next' once it stands there",
            *CAUTIONS,
        ),
    ),
    "top-up": replace(
        RUNNING,
        batch=replace(BATCH, factor=Fraction(19, 17)),
        cue=Cue("waiting"),
        weight=weight(0),
        upcoming=(target("sea salt", 3.353), target("butter", 245.882, "creamed")),
        done=(*DONE, done("whole egg", 55.882, 57, "creamed")),
        addition=replace(adding("oat flour", 268.235, 240.4, "waiting"), kind="top-up", told=("1 lemon: lemon zest",)),
    ),
    "take out": replace(
        RUNNING,
        cue=Cue("take out"),
        weight=weight(57),
        done=DONE,
        addition=replace(EGG, phase="over", kind="take out"),
    ),
    "doubt": replace(
        RUNNING,
        cue=Cue("confirm", spoken=Spoken(3, "came back heavier", (("grams", "37"),))),
        weight=weight(157),
        done=DONE[:2],
        addition=adding("butter", 220, 120, "asking"),
    ),
    "held": replace(
        RUNNING,
        batch=replace(BATCH, state="held"),
        cue=Cue("held"),
        upcoming=NEXT,
        addition=adding("oat flour", 240, 116.2, "waiting"),
    ),
    "lost": replace(
        RUNNING,
        cue=Cue("scale lost"),
        scale_state="lost",
        weight=weight(116.2),
        upcoming=NEXT,
        addition=adding("oat flour", 240, 116.2, "adding"),
    ),
    "not recorded": replace(
        RUNNING,
        is_recorded=False,
        cue=Cue("pour"),
        weight=weight(116.2, rate_g_s=22, is_settled=False),
        upcoming=NEXT,
        addition=adding("oat flour", 240, 116.2, "adding"),
    ),
    "complete": replace(
        RUNNING,
        batch=replace(BATCH, state="complete"),
        cue=Cue("complete"),
        done=(*DONE[:2], replace(DONE[2], is_in_tolerance=False), done("whole egg", 50, 50.4, "creamed")),
    ),
    "long names": replace(
        RUNNING,
        batch=replace(BATCH, title=f"{LONG}, {LONG}", factor=Fraction(123457, 100000)),
        is_recorded=False,
        scale="the large one by the window of the cold room",
        scale_state="over capacity",
        cue=Cue("a little, then wait"),
        weight=weight(11000.5, rate_g_s=-40, is_settled=False),
        upcoming=(target(LONG, 12345.6), *TWELVE[1:]),
        done=tuple(done(f"{LONG} {n}", 1234.5, 1234.6, is_in=n % 2 == 0) for n in range(12)),
        addition=replace(adding(LONG, 12345.6, 11000.5, "adding"), told=("1 lemon: lemon zest", LONG)),
        cautions=(f"{LONG}: {LONG}; {LONG}. {LONG}", *CAUTIONS),
        offers=(),
    ),
    "long offers": replace(
        RUNNING,
        batch=replace(BATCH, title=LONG),
        cue=Cue("choose"),
        done=DONE,
        addition=replace(EGG, ingredient=LONG, key=LONG, stage=LONG),
        start_again=LONG,
        offers=tuple(
            replace(o, changes=tuple((f"{LONG} {n}", mg(1234.5), mg(2345.6)) for n in range(12))) for o in OFFERS
        ),
        cautions=(f"{LONG}: {LONG}; {LONG}. {LONG}",),
        is_recorded=False,
    ),
    "long over": replace(
        RUNNING,
        batch=replace(BATCH, title=LONG, state="aborted"),
        cue=Cue("aborted"),
        done=tuple(done(f"{LONG} {n}", 1234.5, 1234.6, is_in=n % 2 == 0) for n in range(22)),
    ),
}
