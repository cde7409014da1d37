"""What two recordings of real scales mean, told as numbers.

Both are cut from public recordings under the MIT licence: a 0.1 g bench scale (chumpon-asaneerat/NSerialCommTools,
ea92cf00), each value with the number of lines that showed it, 0.01875 s apart as 9600 baud lets them be; and a
load-cell converter of 0.01 g digits at 10.2 readings a second (Nawaytes/4-loadcell-recorder, 5b749139).
"""

from __future__ import annotations

from collections.abc import Iterable

import pytest
from scene_controls import equal_lines

from scaled.weighing import Happening, Reading, Weigher, WeigherSettings, Weight

LINE_S = 0.01875
# 20.7 g set down by hand in stages onto 85.5 g; the item alone reads 20.7 g on the same scale.
BY_HAND = (
    (85.5, 170), (92.6, 3), (88.8, 3), (88.7, 3), (93.1, 3), (96.3, 3), (96.8, 6), (96.9, 12), (97.7, 3), (100.8, 3),
    (104.8, 3), (106.8, 2), (106.2, 164), (106.1, 6), (106.2, 79),
)  # fmt: skip
CONVERTER_S = 0.0976
# Seven presses, then 143.1 g and 134.3 g lifted off.
PRESSES_AND_REMOVALS = """
474.81 470.90 472.23 471.63 472.21 471.50 471.19 471.43 471.97 471.12 471.10
471.57 470.99 470.99 471.14 471.01 471.90 473.17 472.97 471.90 471.97 472.12 471.81 471.37 471.17 471.19 471.21 471.86
474.50 487.42 538.61 621.29 657.87 700.06 863.92 1145.85 1556.84 1889.56 1951.82 1812.26 1439.92 959.63 667.90 617.07
768.97 1052.30 1350.28 1611.68 1589.04 1234.42 950.38 1025.70 1384.54 1826.56 2204.73 2357.10 1926.80 1171.07 783.20
798.32 1030.44 1348.36 1593.33 1432.71 876.29 555.22 494.56 496.38 492.42 487.55 485.60 492.36 518.80 595.72 735.35
992.03 1400.04 1677.50 1349.83 850.78 675.64 762.94 1014.38 1300.13 1643.25 1926.47 1654.80 1058.48 671.32 522.00
486.60 495.40 534.52 642.02 854.27 1146.78 1434.20 1507.81 1248.07 806.31 531.85 486.27 485.40 485.98 485.66 488.80
480.06 400.96 336.32 330.29 330.23 329.09 327.91 328.27 328.16 328.25 328.47 328.58 328.34 328.96 329.49 328.82 328.45
328.65 327.78 327.85 328.00 328.02 326.96 327.69 327.51 325.60 324.22 328.31 334.65 367.38 427.22 461.83 424.93 338.83
260.38 223.29 205.38 198.25 194.38 194.38 194.29 193.80 194.24 194.80 194.64 194.11 193.44 192.84 193.35 193.55 193.49
194.22 194.82 194.80 194.07 193.53 193.73 193.91
"""


def weighed(grams: Iterable[float], step_s: float, division_mg: int) -> tuple[list[Weight], list[Happening]]:
    weigher = Weigher(WeigherSettings(division_mg=division_mg))
    weights = [weigher.see(Reading(n * step_s, round(g * 1000))) for n, g in enumerate(grams)]
    return weights, [*(h for w in weights for h in w.happened), *weigher.close()]


def by_hand() -> list[float]:
    return [grams for grams, lines in BY_HAND for _ in range(lines)]


@pytest.mark.parametrize("slower", [1, 2])
def test_what_a_hand_sets_down_in_stages_is_one_addition(slower: int) -> None:
    """No times were recorded: the lines may have come half as fast."""
    _, happened = weighed(by_hand(), slower * LINE_S, 100)
    assert [h.what for h in happened] == ["addition"]
    assert happened[0].change_mg == pytest.approx(20_700, abs=100)


@pytest.mark.parametrize("slower", [1, 2])
def test_the_addition_does_not_end_while_the_hand_holds_it(slower: int) -> None:
    """96.9 g were shown for twelve lines, on the way from 85.5 g to 106.2 g."""
    weights, _ = weighed(by_hand(), slower * LINE_S, 100)
    ended = [w.rest.mass_mg for w in weights if w.rest and w.at >= w.rest.since + 1.0]
    assert {round(mass / 1000) for mass in ended} == {86, 106}


def test_presses_are_presses_and_removals_are_what_came_off() -> None:
    """The plate crept while it was pressed: 141 to 160 g may have come off first."""
    _, happened = weighed(map(float, PRESSES_AND_REMOVALS.split()), CONVERTER_S, 10)
    assert [h.what for h in happened] == ["press"] * 7 + ["removal"] * 2
    first, second = happened[-2:]
    assert -160_000 <= first.change_mg <= -141_000
    assert second.change_mg == pytest.approx(-134_100, abs=1000)


def test_nine_equal_lines_would_have_ended_it_on_its_way() -> None:
    """The recording is a hard one: the common rule stops 9.3 g short."""
    see = equal_lines()
    told = [see(Reading(n * LINE_S, round(g * 1000))) for n, g in enumerate(by_hand())]
    assert 96_900 in {rest.mass_mg for rest in told if rest}
