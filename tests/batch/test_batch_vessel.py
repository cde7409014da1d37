"""Bowls are lifted, swapped and put back, with something half in or nothing, in sight or out of it."""

from __future__ import annotations

from batch_plate import Plate, to_the_egg


def said(plate: Plate) -> tuple[str, str | None]:
    """The cue, and the phrase that is spoken with it."""
    cue = plate.snapshot.cue
    return cue.word, cue.spoken and cue.spoken.phrase


def test_next_at_put_back_says_that_it_is_there(plate: Plate) -> None:
    plate.set_bowl()
    bowl_g = plate.load_g
    plate.add(-bowl_g)
    assert plate.snapshot.cue.word == "put back"
    plate.wish("next").rest(1)
    assert plate.snapshot.cue.word == "lift vessel"
    plate.add(bowl_g)
    assert plate.phase == "waiting"


def test_a_yes_cannot_be_taken_back_with_the_bowl_lifted_and_the_first_grams_in(plate: Plate) -> None:
    plate.set_bowl().add(276).choose(1).add(1.4)
    before = list(plate.events)
    plate.add(-plate.load_g).wish("back")
    assert plate.refused is not None
    assert [e for e in plate.events if e not in before] == []


def test_an_addition_cannot_wait_with_the_bowl_lifted_and_some_of_it_in(plate: Plate) -> None:
    plate.set_bowl().add(96)
    plate.add(-plate.load_g).wish("later")
    assert plate.refused is not None
    assert plate.open == "oat flour"


def test_an_addition_cannot_wait_before_it_is_known_that_nothing_of_it_is_in(plate: Plate) -> None:
    """72 g went in while the line was silent, and the bowl was lifted before they could be weighed."""
    plate.set_bowl().add(-812).wish("later")
    assert plate.refused is not None
    plate.add(812 + 72).wish("later")
    assert plate.refused is not None
    assert plate.open == "oat flour"


def test_what_was_taken_out_in_sight_is_asked_about_once(plate: Plate) -> None:
    """100 g of the flour come out again with the salt on top of it: one doubt, one yes, and it goes on."""
    plate.set_bowl().add(240).add(3).add(-100).rest(5)
    assert plate.named.count("DoubtRaised") == 1
    plate.wish("next").rest(3)
    assert plate.phase == "waiting"
    plate.add(220)
    assert plate.in_g("butter") == 220
    assert plate.named.count("DoubtRaised") == 1


def test_more_than_is_wanted_in_a_bowl_that_came_back_is_of_what_is_open(plate: Plate) -> None:
    to_the_egg(plate)
    load_g = plate.load_g
    plate.add(-load_g).add(load_g + 57).wish("next").rest(2)
    assert plate.batch is not None
    assert plate.batch.question is not None
    assert plate.batch.question.net_mg == 57_000


def test_a_yes_to_a_bowl_that_came_back_lighter_takes_it_from_what_is_open(plate: Plate) -> None:
    """30 g were spooned out while the bowl was off: the flour has 70 g, not 100."""
    plate.set_bowl().add(100)
    load_g = plate.load_g
    plate.add(-load_g).add(load_g - 30)
    assert plate.phase == "asking"
    plate.wish("next").rest(2)
    plate.add(170)
    assert plate.in_g("oat flour") == 240


def test_what_comes_back_heavier_while_it_is_to_be_taken_out_comes_out_as_well() -> None:
    plate = Plate().set_bowl().add(276).wish("next")
    bowl = plate.load_g
    plate.add(-bowl).add(bowl + 3).wish("next").rest(1)
    plate.add(-39)
    assert plate.in_g("oat flour") == 240


def test_the_full_bowl_of_the_batch_before_is_not_tared(plate: Plate) -> None:
    """It stands there still when the next batch begins, and is taken away only then."""
    to_the_egg(plate.rest(1)).add(50).rest(2)
    assert plate.snapshot.cue.word == "complete"
    plate.begin("b2").rest(2)
    assert said(plate) == ("vessel on", "take the full one off")
    plate.add(-plate.load_g)
    assert said(plate) == ("vessel on", "put the bowl on")
    plate.add(700)
    assert plate.phase == "waiting"
    plate.add(240)
    assert plate.in_g("oat flour") == 240


def test_the_full_bowl_of_the_batch_before_can_be_begun_with(plate: Plate) -> None:
    """More goes on top: one yes says that it stands there."""
    to_the_egg(plate.rest(1)).add(50).rest(2).begin("b2").rest(2).wish("next").add(240)
    assert plate.in_g("oat flour") == 240


def test_an_empty_bowl_that_stands_there_already_is_tared(plate: Plate) -> None:
    plate.set_bowl().wish("abort").begin("b2").rest(2)
    assert plate.phase == "waiting"


def test_a_lighter_bowl_in_place_of_an_empty_one_is_tared(plate: Plate) -> None:
    """The bowl of the batch before was lifted only when this one had begun; nothing is in, so it is just a bowl."""
    plate.rest(1).add(1_200).add(-1_200).add(812)
    assert plate.phase == "waiting"
    plate.add(240)
    assert plate.in_g("oat flour") == 240


def test_a_spoon_in_place_of_the_bowl_is_no_bowl(plate: Plate) -> None:
    plate.set_bowl().add(-812).add(60)
    assert plate.snapshot.cue.word == "put back"
    plate.add(-60).add(812).add(240)
    assert plate.in_g("oat flour") == 240


def test_a_lighter_bowl_is_not_tared_where_something_is_in(plate: Plate) -> None:
    plate.set_bowl().add(240).add(-1_052).add(600)
    assert plate.snapshot.cue.word == "put back"
