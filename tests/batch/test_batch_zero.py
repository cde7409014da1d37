"""The scale's zero is lost and found again: by power cuts, its own keys and whatever the hands do meanwhile."""

from __future__ import annotations

import pytest
from batch_plate import Plate, to_the_egg


def cut(plate: Plate) -> Plate:
    """The power fails and is back: the scale calls what is on it nothing, the machine's seconds begin again."""
    plate.zero_g = plate.load_g
    return plate.reboot().rest(4)


def lifted_and_put_back(plate: Plate) -> Plate:
    load_g = plate.load_g
    return plate.add(-load_g).add(load_g)


def test_a_cut_while_the_batch_is_held_is_seen_when_it_goes_on(plate: Plate) -> None:
    plate.set_bowl().add(240).wish("hold")
    cut(plate).wish("resume").rest(3)
    assert (plate.phase, plate.snapshot.cue.word) == ("asking", "lift vessel")
    lifted_and_put_back(plate).add(3)
    assert plate.in_g("salt") == 3


def test_a_second_cut_while_the_batch_is_held_is_seen_when_it_goes_on(plate: Plate) -> None:
    """The plate shows 0, as the bowl had: going on is not yet a look at the scale."""
    cut(plate.set_bowl())
    bowl_g = plate.load_g
    plate.add(-bowl_g).wish("hold")
    cut(plate).wish("resume")
    assert plate.phase != "waiting"
    plate.rest(3).add(bowl_g).add(240)
    assert plate.in_g("oat flour") == 240


def test_a_second_cut_with_the_bowl_off_is_not_taken_for_the_bowl(plate: Plate) -> None:
    """After the first cut the bowl shows 0; after the second the empty plate does."""
    cut(plate.set_bowl())
    bowl_g = plate.load_g
    plate.add(-bowl_g)
    cut(plate)
    assert plate.phase == "asking"
    plate.add(bowl_g)
    assert plate.phase == "waiting"
    plate.add(240)
    assert plate.in_g("oat flour") == 240


def test_what_was_in_of_the_open_addition_is_kept_however_little(plate: Plate) -> None:
    """1.2 g of salt is less than a bowl that was off may differ: after a cut it is salt all the same."""
    cut(plate.set_bowl().add(240).add(1.2))
    lifted_and_put_back(plate).add(1.8)
    assert plate.in_g("salt") == 3


def test_a_cut_with_a_bowl_off_that_holds_something(plate: Plate) -> None:
    plate.set_bowl().add(96)
    load_g = plate.load_g
    cut(plate.add(-load_g)).add(load_g).add(144)
    assert plate.in_g("oat flour") == 240


def test_killed_between_lifting_and_putting_back(plate: Plate) -> None:
    """The daemon finds a plate that shows minus 908 g: nothing but an empty one can."""
    cut(plate.set_bowl().add(96))
    load_g = plate.load_g
    plate.add(-load_g).restart().rest(4)
    assert plate.phase == "vessel off"
    plate.add(load_g).add(144)
    assert plate.in_g("oat flour") == 240


def test_a_bowl_that_stood_there_before_the_batch_went_on(plate: Plate) -> None:
    """Held before the bowl was on, then a cut with it on: it shows nothing, and is tared when it is put on again."""
    plate.wish("hold")
    cut(plate.set_bowl()).wish("resume").rest(3)
    lifted_and_put_back(plate).add(240)
    assert plate.in_g("oat flour") == 240


def test_a_key_that_was_not_seen_for_what_it_was(plate: Plate) -> None:
    """Right after a restart the filter knows nothing: the bowl seems to be off. Lifting it gives the zero back."""
    plate.set_bowl().restart().rest(4)
    plate.zero_g = plate.load_g
    plate.rest(4)
    lifted_and_put_back(plate).add(240)
    assert plate.in_g("oat flour") == 240


def test_a_bump_on_an_empty_plate_is_no_yes_to_a_lost_zero(plate: Plate) -> None:
    cut(plate.set_bowl())
    plate.add(-plate.load_g)
    cut(plate).press().rest(3)
    assert plate.phase == "asking"


def test_an_egg_too_many_while_the_daemon_was_away_is_too_much_of_the_egg(plate: Plate) -> None:
    """More than can have been poured on a plate at 0: the zero is right, and what is more is of what is open."""
    to_the_egg(plate)
    plate.load_g += 57.0
    plate.restart().rest(4)
    assert plate.phase == "asking"
    assert plate.batch is not None
    assert plate.batch.question is not None
    assert plate.batch.question.net_mg == 57_000


def test_more_of_what_is_asked_about_while_the_zero_is_lost_is_asked_about_anew() -> None:
    """Flour over, the power fails, 3 g more go in before the bowl is lifted: none of them is lost."""
    plate = Plate().set_bowl().add(276)
    assert plate.phase == "asking"
    plate.zero_g = plate.load_g
    plate.restart().rest().add(3)
    bowl = plate.load_g
    plate.add(-bowl).add(bowl)
    while plate.batch is not None and plate.batch.doubted is not None:
        plate.wish("next").rest(1)
    plate.rest(3)
    assert plate.batch is not None
    assert plate.batch.question is not None
    assert plate.batch.question.net_mg == 279_000


def test_an_offer_is_not_taken_before_what_it_is_about_has_been_compared() -> None:
    """As above, but an answer is tried before the lift and while the bowl is off: 39 g come out, not 36."""
    plate = Plate().set_bowl().add(276)
    plate.zero_g = plate.load_g
    plate.restart().rest().add(3)
    bowl = plate.load_g
    for put in (0.0, -bowl):
        plate.add(put).choose(0)
        assert plate.refused is not None
        assert plate.snapshot.offers == ()
    plate.add(bowl).wish("next").rest(1)
    assert plate.snapshot.addition is not None
    assert plate.snapshot.addition.remaining_mg == -39_000
    plate.wish("next").rest(1)
    assert plate.snapshot.cue.word == "take out"
    plate.add(-39)
    assert plate.in_g("oat flour") == 240


def test_spooned_out_before_the_bowl_is_lifted_is_not_taken_for_the_plate() -> None:
    """Flour over, the power fails, 30 g are spooned out: the scale shows minus 30 g with the bowl on it."""
    plate = cut(Plate().set_bowl().add(276))
    plate.add(-30).choose(1)
    assert (plate.refused is not None, plate.snapshot.cue.word) == (True, "lift vessel")
    lifted_and_put_back(plate).wish("next").rest(2)
    assert plate.batch is not None
    assert plate.batch.question is not None
    assert plate.batch.question.net_mg == 246_000


def test_lost_again_with_the_bowl_off_a_lift_is_always_a_way_on(plate: Plate) -> None:
    """Each loss finds another zero, none of them one that is known: put on, lifted and put on again all is well."""
    cut(plate.set_bowl().add(96))
    bowl_g = plate.load_g
    plate.add(-bowl_g + 30)
    cut(plate).add(-30)
    assert plate.snapshot.cue.word == "lift vessel"
    lifted_and_put_back(plate.add(bowl_g)).add(144)
    assert plate.in_g("oat flour") == 240


def test_next_does_not_record_a_weight_that_has_not_been_compared(plate: Plate) -> None:
    plate.set_bowl().add(200).restart().rest(0.4)
    plate.wish("next")
    assert plate.refused is not None
    assert plate.named[-1] == "BenchRestarted"


def test_the_tare_key_is_no_answer_to_a_bowl_that_came_back_lighter() -> None:
    """30 g were spooned out unseen; zeroed with the bowl on, the scale shows by chance what had been expected."""
    plate = cut(Plate().set_bowl().add(276)).add(-30)
    lifted_and_put_back(plate)
    plate.zero_g = plate.load_g
    plate.rest(4)
    assert plate.phase == "asking"
    assert plate.snapshot.offers == ()
    plate.wish("next").rest(2)
    assert plate.batch is not None
    assert plate.batch.question is not None
    assert plate.batch.question.net_mg == 246_000


def test_the_tare_key_is_no_lift_of_the_bowl(plate: Plate) -> None:
    """What was taken out while the line was silent makes the zero doubtful; then the key is pressed."""
    plate.set_bowl().add(240)
    plate.load_g -= 140.0
    plate.silence(2.0).rest(3)
    assert plate.snapshot.cue.word == "lift vessel"
    plate.zero_g = plate.load_g
    plate.rest(4)
    assert plate.snapshot.cue.word == "lift vessel"
    lifted_and_put_back(plate)
    assert plate.phase == "asking"


def test_a_cut_while_a_changed_load_is_asked_about_asks_about_the_zero_first() -> None:
    """Zeroed with the bowl on it, the scale shows by chance what had been expected of it."""
    plate = cut(Plate().set_bowl().add(336)).add(-5)
    lifted_and_put_back(plate).add(-30)
    assert plate.snapshot.cue.word == "confirm"
    cut(plate)
    assert plate.snapshot.cue.word == "lift vessel"
    lifted_and_put_back(plate).wish("next").rest(2)
    assert plate.batch is not None
    assert plate.batch.question is not None
    assert plate.batch.question.net_mg == 301_000


@pytest.mark.parametrize("off_s", [0.5, 0.7, 0.9, 1.2])
def test_a_bowl_that_is_back_before_its_lift_was_told_has_not_moved_the_zero(plate: Plate, off_s: float) -> None:
    """The lift is told when the bowl stands at 0 again, as if a zero key had been pressed under it."""
    cut(plate.set_bowl().add(240).add(3))
    bowl_g = plate.load_g
    plate.add(-bowl_g, off_s).add(bowl_g).add(220)
    assert plate.in_g("butter") == 220


def test_as_much_as_was_expected_by_chance_is_no_answer_to_a_lost_zero() -> None:
    """The bowl is expected at 20 g since the tare key was pressed; after the cut 20 g more go in."""
    plate = Plate().set_bowl().add(276)
    plate.zero_g = plate.load_g
    plate.rest(4).add(20)
    cut(plate).add(20)
    assert plate.snapshot.cue.word == "lift vessel"
    lifted_and_put_back(plate).wish("next").rest(2)
    assert plate.batch is not None
    assert plate.batch.question is not None
    assert plate.batch.question.net_mg == 316_000


def test_a_pinch_that_went_in_while_the_zero_was_lost_is_counted(plate: Plate) -> None:
    """0.9 g are less than a bowl that was off may differ; but the line was silent before, and it may be salt."""
    cut(plate.set_bowl().add(240))
    lifted_and_put_back(plate)
    plate.load_g += 0.9
    plate.silence(3.0).rest(3)
    lifted_and_put_back(plate).add(2.1)
    assert plate.in_g("salt") == 3


def test_a_lost_zero_under_a_vessel_of_unknown_mass_is_a_question(plate: Plate) -> None:
    """Tared with the scale's own key before anything of it was known: a lift would not tell, so a yes must."""
    plate.load_g = plate.zero_g = 812.0
    plate.rest(2).wish("next").rest(1).add(240)
    cut(plate)
    spoken = plate.bench.cue.spoken
    assert spoken is not None
    assert (plate.snapshot.cue.word, spoken.phrase, dict(spoken.values)) == (
        "confirm",
        "addition unknown",
        {"ingredient": "salt"},
    )
    lifted_and_put_back(plate)
    assert plate.snapshot.cue.word == "confirm"
    plate.wish("next").rest(1).add(3)
    assert plate.in_g("salt") == 3


def test_a_gram_that_was_taken_out_while_the_zero_was_lost_is_missed(plate: Plate) -> None:
    """1 g of salt, all there is, is spooned out again before the lift: less than a lift may lose, but all of it."""
    plate.set_bowl().add(240).add(1).wish("next").rest(1)
    assert plate.snapshot.offers
    cut(plate).add(-1)
    lifted_and_put_back(plate).wish("next").rest(2)
    assert plate.snapshot.offers == ()
    assert plate.open == "salt"
    plate.add(3)
    assert plate.in_g("salt") == 3


def test_under_a_vessel_of_unknown_mass_a_silent_line_is_no_lost_zero(plate: Plate) -> None:
    """72 g go in while the line is silent, and are shown: one yes says that this is right."""
    plate.load_g = plate.zero_g = 812.0
    plate.rest(2).wish("next").rest(1)
    plate.load_g += 72.0
    plate.silence(2.0).rest(3).wish("next").rest(1).add(168)
    assert plate.in_g("oat flour") == 240
