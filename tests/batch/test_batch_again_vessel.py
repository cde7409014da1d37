"""A stage is started again: nothing is weighed before the vessel is seen empty, whatever is put on."""

from __future__ import annotations

from dataclasses import replace

import pytest
from batch_again import STIFF, THROWN_G, begun_again, lifted, too_much_salt, with_known_bowls, word
from batch_plate import BOWL_G, Plate
from hypothesis import given, settings
from hypothesis import strategies as st


@pytest.mark.parametrize("left_g", [0.0, 1.0, 4.0])
def test_what_clings_to_it_is_no_content(left_g: float) -> None:
    """Up to 0.5 % of the bowl, as a bowl is known by its weight."""
    plate = lifted(begun_again()).add(BOWL_G + left_g)
    assert plate.phase == "waiting"
    plate.add(240)
    assert plate.in_g("oat flour") == 240


@pytest.mark.parametrize("left_g", [4.3, 20.0, 120.0, 240.0, THROWN_G])
def test_with_anything_in_it_it_waits_and_says_so(left_g: float) -> None:
    plate = lifted(begun_again()).add(BOWL_G + left_g, rest_s=20)
    is_full = left_g > 243
    assert (plate.phase, word(plate)) == (
        "vessel off",
        ("empty vessel", "empty the vessel" if is_full else "not empty"),
    )
    assert plate.named[-1] == "StageStartedAgain"
    plate.press().rest(3)
    assert plate.named[-1] == "StageStartedAgain", "a push on the scale says nothing of what is in it"
    plate.add(-left_g)  # scraped out where it stands
    assert plate.phase == "waiting"
    plate.add(240)
    assert plate.in_g("oat flour") == 240


def test_no_more_may_cling_than_a_little_of_what_was_in() -> None:
    """5 g of salt alone: 0.3 g of it that stay in are no empty bowl, though a bowl may differ by 4 g else."""
    dry = replace(STIFF.stages[0], additions=STIFF.stages[0].additions[1:])
    plate = Plate(replace(STIFF, stages=(dry, STIFF.stages[1]))).set_bowl().add(5)
    lifted(begun_again(plate)).add(BOWL_G + 0.3)
    assert word(plate) == ("empty vessel", "not empty")
    plate.add(-0.3).add(3)
    assert plate.in_g("salt") == 3


def test_next_with_all_of_it_in_is_refused() -> None:
    plate = begun_again().wish("next")
    assert plate.refused == "all of it is still in the vessel: lift it off, empty it and put it back"
    lifted(plate).wish("next")
    assert plate.refused == "nothing stands on the scale: put the vessel back, empty"
    assert plate.named[-1] == "StageStartedAgain"


def test_what_is_poured_on_into_a_full_bowl_does_not_make_it_another() -> None:
    plate = begun_again().add(60, rest_s=20)
    assert plate.named[-1] == "StageStartedAgain"
    assert word(plate) == ("empty vessel", "not empty")


@pytest.mark.parametrize(("empty_g", "is_asked"), [(300.0, False), (700.0, False), (805.0, False), (950.0, True)])
def test_another_vessel_is_tared_as_the_first_was(empty_g: float, is_asked: bool) -> None:  # noqa: FBT001
    """A lighter one by itself; one that might be the old one half emptied wants a yes."""
    plate = lifted(begun_again()).add(empty_g)
    assert plate.phase == ("vessel off" if is_asked else "waiting")
    if is_asked:
        plate.wish("next").rest(1)
    plate.add(240)
    assert plate.in_g("oat flour") == 240


def test_one_heavier_than_the_full_one_cannot_be_it() -> None:
    plate = lifted(begun_again()).add(1500)
    assert plate.phase == "waiting"
    known = lifted(begun_again(too_much_salt(facts=with_known_bowls(812, 1100)))).add(1500)
    assert (known.phase, known.named[-1]) == ("asking", "DoubtRaised")
    known.wish("next").rest(1).add(240)
    assert known.in_g("oat flour") == 240


def test_a_bowl_tared_with_the_scales_own_key() -> None:
    """Its mass is not known, nor the plate's: it is empty again where it shows what it showed."""
    plate = Plate(STIFF)
    plate.load_g = plate.zero_g = BOWL_G
    plate.rest(1).wish("next").rest(1).add(240).add(5)
    begun_again(plate)
    lifted(plate).add(BOWL_G + 100)
    assert word(plate) == ("empty vessel", "not empty")
    plate.add(-100).add(240)
    assert plate.in_g("oat flour") == 240


@given(left=st.floats(0, 1.0), bowls=st.lists(st.sampled_from([500.0, 900.0, 1057.0, 1200.0]), unique=True))
@settings(max_examples=60)
def test_nothing_is_weighed_into_a_bowl_that_is_not_empty(left: float, bowls: list[float]) -> None:
    """Whatever is left in it and whichever bowls there are: more than clings to it, and it is not tared."""
    left_g = round(left * THROWN_G, 1)
    plate = lifted(begun_again(too_much_salt(facts=with_known_bowls(BOWL_G, *bowls)))).add(BOWL_G + left_g, rest_s=6)
    assert (plate.named[-1] == "VesselTared") == (left_g <= 4.06)
