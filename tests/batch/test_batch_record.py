"""What the record says, and how sure it is of it."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction

import pytest
from batch_plate import DOUGH, Plate, addition, percent, to_the_egg
from hypothesis import given
from hypothesis import strategies as st

from scaled.batch.acceptance import net_u_mg, p_in_band, shown_mg
from scaled.batch.codec import data_from_event, event_from_data
from scaled.batch.envelope import FIRST_CHAIN, canonical_json, chain_hash
from scaled.batch.events import BenchFacts, Event
from scaled.formula.uncertainty import measuring_capability
from scaled.formula.values import Addition, rounded_mg


def test_the_probability_of_conformity() -> None:
    """JCGM 106:2012, 7.2, worked example of a breakdown voltage, from memory (m), its arithmetic checks itself:
    limit -5.40 V, y = -5.47 V, u = 0.05 V -> Phi(1.4) = 0.9192."""
    assert p_in_band(-5470, (-(10**9), -5400), 50.0) == pytest.approx(0.9192, abs=5e-5)


def test_a_guard_of_two_u_lets_less_than_two_and_a_half_percent_through() -> None:
    """ILAC-G8:09/2019: with a guard band of U (k = 2) false accept is below 2.5 %; exactly 1 - Phi(2) = 2.275 %."""
    at_the_acceptance_limit = p_in_band(1000 - 20, (-(10**9), 1000), 10.0)
    assert 1 - at_the_acceptance_limit == pytest.approx(0.02275, abs=5e-6)


def test_measuring_capability() -> None:
    """JCGM 106:2012, 7.6.3: C_m = T / (4 u)."""
    assert measuring_capability((9_800, 10_200), 50.0) == 2.0


def test_the_uncertainty_of_a_net() -> None:
    """JCGM 100:2008, 4.3.7: a rounding to d has variance d^2/12; a net has two of them and twice s^2."""
    facts = BenchFacts("bench", 100, 30.0)
    assert net_u_mg(facts) == pytest.approx((2 * (100**2 / 12 + 30**2)) ** 0.5)
    assert net_u_mg(facts, 4) == pytest.approx(2 * net_u_mg(facts))


def test_57_grams_lie_exactly_in_the_band_of_its_factor() -> None:
    """57/51 of 50 g, +2 %: 57 g to the milligram, and the shown target lies in the band."""
    egg = DOUGH.addition("whole egg")
    lo, hi = egg.band_mg(Fraction(57, 51))
    assert hi == 57_000
    assert lo == 54_765  # 50 g * 57/51 * 0.98 = 54.7647 g, rounded up
    assert rounded_mg(egg.target_mg(Fraction(57, 51)), (lo, hi), 100) == 55_900


def test_a_rounded_target_moves_into_its_band() -> None:
    small = addition("saffron", 0.25, percent(4), "dry")
    assert rounded_mg(small.target_mg(Fraction(1)), small.band_mg(Fraction(1)), 10) == 250
    assert rounded_mg(Fraction(3060), (3061, 3190), 100) == 3100


def test_told_lines_stand_in_the_record_and_nowhere_else() -> None:
    zest = Addition("lemon zest", "creamed", "lemon zest", "told", None, None, told="1 lemon")
    stages = (DOUGH.stages[0], replace(DOUGH.stages[1], additions=(*DOUGH.stages[1].additions, zest)))
    plate = to_the_egg(Plate(replace(DOUGH, stages=stages))).add(50)
    told = plate.record["additions"][-1]
    assert told["ingredient"] == "lemon zest"
    assert told["target_g"] is told["actual_g"] is told["band_g"] is None
    assert plate.record["state"] == "complete"
    assert all(done["ingredient"] != "lemon zest" for done in plate.seen["done"])
    assert plate.snapshot.cautions[0] == "still to go in, not weighed: 1 lemon: lemon zest"


def test_a_told_line_is_shown_and_spoken_before_what_follows_it() -> None:
    zest = Addition("lemon zest", "dry", "lemon zest", "told", None, None, told="1 lemon")
    dry = DOUGH.stages[0]
    stages = (replace(dry, additions=(dry.additions[0], zest, *dry.additions[1:])), DOUGH.stages[1])
    plate = Plate(replace(DOUGH, stages=stages)).set_bowl()
    assert plate.seen["addition"]["told"] == []
    said = {}
    plate.add(240, rest_s=0.0)
    for _ in range(30):
        plate.reading(plate.load_g)
        spoken = plate.bench.cue.spoken
        if spoken is not None:
            said[spoken.serial] = spoken.phrase
    assert plate.seen["addition"]["told"] == ["1 lemon: lemon zest"]
    assert list(said.values())[-2:] == ["told count", "next"]


def test_a_lot_is_named_by_a_word_that_fits_one(plate: Plate) -> None:
    from scaled.batch.inputs import NameLot

    plate.set_bowl()
    plate.take(NameLot(plate.at, "Egg", "L-12"))
    plate.take(NameLot(plate.at, "nothing like it", "L-13"))
    assert plate.refused is not None
    assert [a["lot"] for a in plate.record["additions"]] == [None, None, None, "L-12"]


def test_what_is_not_weighed_yet_has_no_actual(plate: Plate) -> None:
    plate.set_bowl().add(240)
    record = plate.record
    assert record["state"] == "running"
    assert [a["actual_g"] for a in record["additions"]] == [240.0, None, None, None]
    assert record["ended"] is None


def test_every_event_is_read_back_as_it_was_written(plate: Plate) -> None:
    to_the_egg(plate).add(57).wish("next").add(40).wish("hold").wish("resume").wish("abort")
    for event in plate.events:
        text = json.dumps(data_from_event(event))
        assert event_from_data(json.loads(text)) == event


@pytest.mark.parametrize(
    "change",
    [
        {"event": "Nothing"},
        {"net_mg": "240"},
        {"net_mg": True},
        {"extra": 1},
        {"key": None},
    ],
)
def test_a_changed_event_is_not_read(plate: Plate, change: dict[str, object]) -> None:
    plate.set_bowl().add(240)
    with pytest.raises(ValueError, match=r"."):
        event_from_data(data_from_event(plate.events[-1]) | change)


def test_the_chain_holds_every_event(plate: Plate) -> None:
    plate.set_bowl().add(240)
    before = FIRST_CHAIN
    for envelope in plate.envelopes:
        assert envelope.chain == chain_hash(before, canonical_json(envelope))
        before = envelope.chain
    assert plate.record["chain"] == before


@given(mass=st.integers(-(10**7), 10**7), division=st.sampled_from([1, 2, 5, 10, 50, 100, 200, 1000, 5000]))
def test_a_shown_mass_is_the_nearest_multiple(mass: int, division: int) -> None:
    shown = shown_mg(mass, division)
    assert shown % division == 0
    assert 2 * abs(shown - mass) <= division


def test_event_is_a_union_of_frozen_values() -> None:
    import typing

    for cls in typing.get_args(Event):
        assert cls.__dataclass_params__.frozen
