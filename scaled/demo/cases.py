"""The demonstration's cases: which formula of the invented bakehouse, what the cook's hands do, what goes wrong."""

from __future__ import annotations

from dataclasses import dataclass

from scaled.simulator.cook import CookStyle

BRISK = {
    "jug_g_s": (28.0, 45.0),
    "end_g_s": (2.0, 4.0),
    "spoon_g": (8.0, 15.0),
    "spoon_every_s": (0.8, 1.2),
    "think_s": (0.4, 0.8),
    "portion_error": 0.02,  # a steady hand: what goes wrong here is the case's own trouble
}


@dataclass(frozen=True)
class Trouble:
    """Something that befalls the bench while `key` is being poured and this share of it is in."""

    what: str
    key: str
    at_share: float = 0.4
    lasts_s: float = 4.0


@dataclass(frozen=True)
class Case:
    """One story. `formula` is a stem of the recipes that come with the program.

    `speed` is how many times as fast as life it is played unless another is asked for: it then takes 30 to 45 s
    (seconds of bench time, twelve seeds each: overpour 148 to 190, plain 93 to 131, ran out 92 to 141, unplugged 100 to
    144, power cut 102 to 151).
    """

    name: str
    formula: str
    opening: str
    style: CookStyle
    trouble: Trouble | None = None
    speed: float = 3.2


def _style(**changes: object) -> CookStyle:
    return CookStyle(**(BRISK | changes))  # type: ignore[arg-type]


DOUGH = "oat-and-honey-short-dough"

CASES: dict[str, Case] = {
    case.name: case
    for case in (
        Case(
            "overpour",
            DOUGH,
            "The formula asks for 50 g of egg. Eggs come whole, and this one weighs 57 g.",
            _style(drops_g={"whole egg": (57.0,)}),
            speed=4.6,
        ),
        Case(
            "plain",
            DOUGH,
            "Everything goes as it should: nobody touches anything but the jug.",
            _style(drops_g={"whole egg": (50.2,)}),
        ),
        Case(
            "ran out",
            DOUGH,
            "There is less butter in the house than the formula asks for.",
            _style(drops_g={"whole egg": (50.2,)}, stock_g={"butter": 186.0}),
        ),
        Case(
            "unplugged",
            DOUGH,
            "Somebody trips over the scale's cable in the middle of the butter.",
            _style(drops_g={"whole egg": (50.2,)}),
            Trouble("unplugged", "butter"),
            speed=3.4,
        ),
        Case(
            "power cut",
            DOUGH,
            "The power fails in the middle of the butter, and the scale forgets its zero.",
            _style(drops_g={"whole egg": (50.2,)}),
            Trouble("power cut", "butter"),
            speed=3.5,
        ),
    )
}
