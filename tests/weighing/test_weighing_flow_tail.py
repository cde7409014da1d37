"""What is learned of the after-flow, and what is said in a pour: pure values, worked by hand."""

from __future__ import annotations

import random
from dataclasses import replace
from statistics import fmean

import pytest

from scaled.weighing.advice import Said, advice, advised, aim
from scaled.weighing.pours import Pours
from scaled.weighing.tail import KEPT, START, START_S, START_SD_S, Tail, learn
from scaled.weighing.values import Rest, Weight

BAND = (98_000, 102_000)
SURE = Tail(0.8, 0.05)


def taught(seen_s: list[float], rate: float = 10.0, u_g: float = 0.1) -> Tail:
    tail = START
    for seconds in seen_s:
        tail = learn(tail, rate, seconds * rate, u_g)
    return tail


def weight(
    at: float, grams: float, rate: float = 0.0, *, rested_since: float | None = None, lump_g: float = 0.0
) -> Weight:
    rest = None if rested_since is None else Rest(round(1000 * grams), 20.0, rested_since, at)
    return Weight(at, round(1000 * grams), grams, 0.03, rate, grams, rest, (), "ready", 100, lump_g)


def test_it_starts_at_the_measured_tail() -> None:
    """0.83 s: the median of twelve pours of a robot onto a 10 Hz bench scale."""
    assert (START.seconds, START.sd_s) == (START_S, START_SD_S) == (0.83, 0.25)


def test_a_few_pours_outweigh_the_start() -> None:
    tail = taught([1.3] * 4)
    assert 1.2 < tail.seconds < 1.3
    assert tail.sd_s < 0.2
    assert abs(taught([1.3] * 8).seconds - 1.3) < abs(tail.seconds - 1.3)


def test_one_lump_does_not_move_it_much() -> None:
    """8.4 g at once, the largest that was measured, is 0.84 s of a flow of 10 g/s."""
    steady = taught([0.7] * 6)
    lumpy = taught([0.7] * 5 + [0.7 + 0.84])
    assert abs(lumpy.seconds - steady.seconds) < 0.06
    assert lumpy.sd_s > steady.sd_s


@pytest.mark.parametrize(("rate", "arrived_g"), [(10.0, -3.0), (10.0, 0.5), (10.0, 40.0), (0.5, 0.4), (200.0, 150.0)])
def test_what_cannot_be_a_tail_is_not_learned_from(rate: float, arrived_g: float) -> None:
    assert learn(START, rate, arrived_g) is START


def test_what_was_seen_badly_counts_less() -> None:
    well, badly = learn(START, 10.0, 13.0, 0.1), learn(START, 10.0, 13.0, 4.0)
    assert START_S < badly.seconds < well.seconds


def test_hands_change_and_only_the_last_pours_are_kept() -> None:
    tail = taught([0.6] * 20 + [1.2] * KEPT)
    assert len(tail.seen_s) == KEPT
    assert tail == taught([1.2] * KEPT)


def test_the_said_deviation_is_that_of_the_next_pour() -> None:
    """As simulated: tails that vary by 0.12 s from pour to pour about one that varies by 0.15 s between cooks."""
    source = random.Random(11)
    within = []
    for _ in range(600):
        own = source.gauss(0.83, 0.15)
        tail = taught([source.gauss(own, 0.12) for _ in range(5)])
        within.append(abs(source.gauss(own, 0.12) - tail.seconds) <= 2 * tail.sd_s)
    assert 0.92 < fmean(within) < 0.99


def test_half_the_error_of_the_last_four_is_not_faster() -> None:
    """Industrial practice (read in a batching indicator's manual): new = old + half the mean error of the last four."""
    source = random.Random(5)
    ours, theirs = [], []
    for _ in range(400):
        own = source.gauss(1.0, 0.2)
        tail, old, errors = START, START_S, []
        for _ in range(6):
            seen = source.gauss(own, 0.12)
            tail = learn(tail, 10.0, seen * 10.0, 0.1)
            errors = [*errors, seen - old][-4:]
            old += fmean(errors) / 2
        ours.append((tail.seconds - own) ** 2)
        theirs.append((old - own) ** 2)
    assert fmean(ours) < 0.8 * fmean(theirs)


def test_a_tail_that_cannot_be_is_refused() -> None:
    for seconds, sd_s in ((-0.1, 0.1), (61.0, 0.1), (1.0, -0.1), (float("nan"), 0.1)):
        with pytest.raises(ValueError, match="tail"):
            Tail(seconds, sd_s)


def test_stop_comes_when_the_expected_end_is_in_the_band_and_below_the_target() -> None:
    said = [advice(weight(0.0, g / 10, 5.0), 100_000, BAND, SURE) for g in range(800, 1000)]
    at_g = 80 + 0.1 * said.index("stop")
    end = at_g + 5.0 * 0.8
    assert 98.0 <= end <= 100.0
    assert "stop" not in said[: said.index("stop")]


def test_the_less_sure_the_end_is_the_lower_it_is_aimed() -> None:
    aims = [aim(98.0, 100.0, 102.0, spread) for spread in (0.1, 0.3, 0.6, 1.5, 5.0)]
    assert aims == sorted(aims, reverse=True)
    assert aims[0] == pytest.approx(99.9)
    assert aims[-1] == 98.0
    assert aims[2] >= 98 + 4 / 3, "the lowest third of the band has to rest longer"


def test_a_flow_too_fast_for_the_band_is_slowed_first_and_a_wide_band_needs_no_slowing() -> None:
    fast = [advice(weight(0.0, float(g), 40.0), 300_000, (298_000, 302_000), START) for g in range(150, 300)]
    assert fast.index("slow") < fast.index("stop")
    wide = [advice(weight(0.0, float(g), 10.0), 300_000, (280_000, 320_000), START) for g in range(150, 300)]
    assert "slow" not in wide


def test_a_little_and_a_wait_where_a_stream_is_too_much() -> None:
    assert advice(weight(0.0, 96.0), 100_000, BAND, START) == "a little, then wait"
    assert advice(weight(0.0, 20.0), 100_000, BAND, START) == "pour freely"


def test_lumps_bring_the_stop_forward() -> None:
    at_g = 94.6
    assert advice(weight(0.0, at_g, 5.0), 100_000, BAND, SURE) != "stop"
    assert advice(weight(0.0, at_g, 5.0, lump_g=2.0), 100_000, BAND, SURE) == "stop"


def test_stop_is_said_once_while_the_jug_is_turned_back() -> None:
    said = advised(weight(1.0, 96.0, 6.0), 100_000, BAND, SURE)
    assert said.word == "stop"
    for n, rate in enumerate((5.0, 3.0, 1.0, 0.2)):
        assert advised(weight(1.2 + 0.2 * n, 97.0, rate), 100_000, BAND, SURE, said) is said


def test_a_stop_that_was_no_pour_is_taken_back() -> None:
    said = Said("stop", 1.0, 97_000, 97.0, 30.0, 0.1)
    assert advised(weight(1.4, 20.0, 8.0), 100_000, BAND, SURE, said).word == "pour freely"
    assert advised(weight(3.0, 50.0, 29.0), 200_000, (196_000, 204_000), SURE, said).word == "pour freely"


def test_a_stop_stands_where_only_the_estimate_came_down() -> None:
    """Seen with a pinch of salt: 1730.8 g shown, 1742.0 g estimated; then 1733.2 and 1730.5 g: "pour" for 0.1 s."""
    said = Said("stop", 66.61, 1_730_800, 1742.0, 0.9, 1.9)
    after = replace(weight(66.71, 1730.5, -1.4), shown_mg=1_733_200)
    assert advised(after, 1_733_700, (1_733_100, 1_734_300), SURE, said) is said


def test_slow_stays_slow_until_the_stop() -> None:
    said = Said("slow", 1.0, 60_000, 60.0, 40.0, 0.1)
    assert advised(weight(3.0, 70.0, 3.0), 100_000, BAND, SURE, said) is said
    assert advised(weight(4.0, 97.6, 3.0), 100_000, BAND, SURE, said).word == "stop"


def poured(pours: Pours, name: str, arrived_g: float, rate: float = 5.0) -> Pours:
    """A stream of some seconds into a band that is wide enough to be stopped from it; so much comes after the stop."""
    at = grams = 0.0
    while pours.said is None or pours.said.word != "stop":
        pours = pours.pouring(name, weight(at, grams, rate), 30_000, (22_000, 38_000))
        at, grams = at + 0.2, grams + 0.2 * rate
    stopped = pours.said
    return pours.rested(weight(stopped.at + 2, stopped.estimate_g + arrived_g, rested_since=stopped.at + 1.2))


def test_a_pour_teaches_its_own_ingredient_only() -> None:
    pours = poured(Pours(), "honey", 6.5)
    assert list(pours.tails) == ["honey"]
    assert pours.tail("honey").seconds > START_S
    assert pours.tail("flour") is START
    assert pours.said is None


def test_tails_are_handed_in_frozen() -> None:
    known = {"honey": Tail(1.4, 0.1)}
    pours = poured(Pours(known), "flour", 4.0)
    assert known == {"honey": Tail(1.4, 0.1)}
    assert pours.tail("honey") == Tail(1.4, 0.1)


@pytest.mark.parametrize("how", ["another", "broken off", "too late", "a spoon"])
def test_what_was_no_stream_that_ended_there_teaches_nothing(how: str) -> None:
    said = Said("stop", 5.0, 90_000, 90.0, 5.0, 0.1, steady_s=3.0)
    pours = Pours({}, "honey", said)
    assert pours.rested(weight(7.0, 94.5, rested_since=6.2)).tails != {}, "it would teach"
    rested = weight(7.0, 94.5, rested_since=6.2)
    if how == "another":
        pours = pours.pouring("flour", weight(5.2, 20.0), 100_000, BAND)
    elif how == "broken off":
        pours = pours.broken_off()
    elif how == "too late":
        rested = weight(12.0, 94.5, rested_since=11.0)
    else:
        pours = replace(pours, said=replace(said, steady_s=0.2))
    assert pours.rested(rested).tails == {}
