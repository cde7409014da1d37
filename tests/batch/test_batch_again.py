"""A stage is started again: what is thrown away, what is forgotten with it, and how it can be taken back."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from batch_again import STIFF, begun_again, lifted, too_much_salt, word
from batch_plate import BOWL_G, Plate, in_tubs

from scaled.batch.events import StageStartedAgain
from scaled.batch.inputs import SwapProduct
from scaled.formula.advice import Advice
from scaled.formula.values import Addition, Formula, Product, Stage
from scaled.texts.record import record_text

# The way through.


def test_from_too_much_salt_to_a_whole_batch() -> None:
    plate = too_much_salt()
    assert plate.snapshot.start_again == "dry"
    assert plate.snapshot.cautions[0] == (
        "start stage dry again: salt cannot be made up for; that throws away 245 g, worth 0.24"
    )
    begun_again(plate)
    assert plate.events[-1] == StageStartedAgain(plate.events[-1].at, "dry", (("oat flour", 240_000), ("salt", 5_000)))
    assert (plate.phase, plate.open, word(plate)) == ("vessel off", "oat flour", ("empty vessel", "empty the vessel"))
    assert plate.seen["done"] == plate.seen["offers"] == []
    assert plate.seen["addition"]["remaining_g"] == 240  # type: ignore[index]
    assert plate.snapshot.cautions[0] == (
        "empty the vessel, 245 g, worth 0.24, and put it back; stage dry begins again: oat flour, 240 g"
    )
    assert word(lifted(plate)) == ("empty vessel", "put back empty")
    plate.add(BOWL_G)
    assert (plate.phase, word(plate)) == ("waiting", ("waiting", "next"))
    plate.add(240).add(3).add(220).add(50)
    record = plate.record
    assert (record["state"], record["factor"], record["corrections"]) == ("complete", 1.0, [])
    assert [a["actual_g"] for a in record["additions"]] == [240, 3, 220, 50]
    thrown = record["thrown_away"]
    assert [(t["stage"], t["grams"]) for t in thrown] == [("dry", {"oat flour": 240.0, "salt": 5.0})]
    assert 0 < thrown[0]["at_s"] < record["additions"][0]["settled_at_s"]
    told = record_text(record).rpartition("\n")[2]
    assert told.endswith(" s, stage dry started again: oat flour 240.0 g, salt 5.0 g")
    assert told.startswith("thrown away after ")


def test_a_batch_in_which_nothing_was_thrown_away_does_not_say_so(plate: Plate) -> None:
    assert "thrown_away" not in plate.set_bowl().add(240).record


def test_an_offer_is_still_what_a_yes_takes() -> None:
    """One press or one `next` takes the first offer, whatever the advice says."""
    for plate in (too_much_salt().rest(1).press().rest(2), too_much_salt().rest(1).wish("next")):
        assert plate.named[-1] == "OfferTaken"
        assert plate.in_g("salt") == 5


def test_it_is_taken_only_where_it_is_advised(plate: Plate) -> None:
    plate.wish("start again")
    assert plate.refused == "a stage is started again where something went in wrong, and nothing did: go on"
    plate.set_bowl().add(240).add(3).add(220).add(57).wish("start again")
    assert plate.refused == "to start the stage again is no way out here: take an offer, or give the batch up"
    assert plate.phase == "asking"
    assert plate.snapshot.start_again is None
    plate.add(-plate.load_g).wish("start again")
    assert plate.refused is not None
    assert plate.refused.startswith("what is asked is about what is in the vessel")
    assert "StageStartedAgain" not in plate.named


def test_what_went_up_for_what_is_thrown_away_goes_back() -> None:
    """270 g of flour: 11 % more is made of everything. Then too much salt: the bowl goes, and so do the 11 %."""
    plate = Plate(STIFF).set_bowl().add(270).wish("next")
    assert plate.batch is not None
    assert plate.batch.factor > 1
    plate.rest(1).add(6)
    assert plate.snapshot.start_again == "dry"
    begun_again(plate)
    assert (plate.batch.factor, plate.open, plate.batch.correcting) == (1, "oat flour", ())
    lifted(plate).add(BOWL_G).add(240).add(3).add(220).add(50)
    record = plate.record
    assert (record["factor"], record["corrections"]) == (1.0, [])
    assert [a["actual_g"] for a in record["additions"]] == [240, 3, 220, 50]


def test_a_top_up_that_goes_wrong_ends_with_what_it_was_for() -> None:
    """Too much salt, made up for by more flour, and then too much flour: nothing of that correction is left."""
    formula = replace(STIFF, stages=(_without_a_guard_on_salt(STIFF), STIFF.stages[1]))
    plate = Plate(formula).set_bowl().add(240).add(3.6).wish("next").rest(1)
    assert plate.open == "oat flour"
    plate.add(60)
    assert plate.snapshot.start_again == "dry", plate.snapshot.cautions
    begun_again(plate)
    lifted(plate).add(BOWL_G).add(240).add(3)
    flour = plate.record["additions"][0]
    assert (flour["actual_g"], flour["topups"], plate.record["factor"]) == (240.0, [], 1.0)
    assert plate.batch is not None
    assert plate.batch.content("oat flour").weighings == 1


def test_top_ups_of_what_is_thrown_away_do_not_count() -> None:
    """Too much sugar, made up for by more flour; then too much salt, which nothing makes up for."""
    flour, salt, _butter = STIFF.stages[0].additions
    sugar = replace(flour, ingredient="icing sugar", key="icing sugar", weight_mg=Fraction(60_000))
    stages = (replace(STIFF.stages[0], additions=(flour, sugar, salt)), STIFF.stages[1])
    plate = Plate(replace(STIFF, stages=stages)).set_bowl().add(240).add(66).wish("next").rest(1).add(21.4).add(6)
    assert [t["grams"] for t in plate.record["additions"][0]["topups"]] == [21.4]
    begun_again(plate)
    lifted(plate).add(BOWL_G).add(240).add(60).add(3).add(50)
    record = plate.record
    assert (record["state"], record["factor"], record["corrections"]) == ("complete", 1.0, [])
    assert [(a["actual_g"], a["topups"]) for a in record["additions"]] == [(240, []), (60, []), (3, []), (50, [])]


def test_a_product_swapped_while_the_full_bowl_stands_there_has_nothing_before_it() -> None:
    """The two that were thrown away wait; what is open then was never in."""
    plate = begun_again().wish("later").wish("later")
    assert plate.open == "butter"
    plate.take(SwapProduct(plate.at, "butter", Product("margarine", ()), is_yes=True))
    assert plate.record["additions"][2]["product"][0]["after_g"] == 0


def _without_a_guard_on_salt(formula: Formula) -> Stage:
    flour, salt, butter = formula.stages[0].additions
    return replace(formula.stages[0], additions=(flour, replace(salt, role=None), butter))


def test_a_lot_stays_named_and_a_product_that_was_swapped_begins_at_nothing() -> None:
    plate = Plate(STIFF).set_bowl().lot("oat flour", "F-1").lot("salt", "S-1").add(100)
    plate.take(SwapProduct(plate.at, "oat flour", Product("rye flour", ("rye",)), is_yes=True))
    begun_again(plate.add(140).add(5))
    assert plate.snapshot.cautions[0].startswith("empty the vessel, 245 g, and put it back")  # its price is not known
    lifted(plate).add(BOWL_G).add(240).add(3)
    flour, salt = plate.record["additions"][:2]
    assert (flour["lot"], salt["lot"]) == ("F-1", "S-1")
    assert [(p["name"], p["after_g"]) for p in flour["product"]] == [("rye flour", 0.0)]


# Taken back, held, given up.


def test_it_can_be_taken_back_while_the_bowl_stands_there_full() -> None:
    plate = too_much_salt()
    offers = plate.offers
    begun_again(plate).wish("back").rest(1)
    assert (plate.phase, plate.offers, plate.named[-1]) == ("asking", offers, "OfferRevoked")
    assert "thrown_away" not in plate.record
    plate.wish("next").rest(1).add(220).add(50)
    assert [a["actual_g"] for a in plate.record["additions"]] == [240, 5, 220, 50]


def test_it_cannot_be_taken_back_once_the_bowl_is_off_or_emptied() -> None:
    plate = lifted(begun_again()).wish("back")
    assert plate.refused == "only while the vessel stands there with all that is in it: go on and empty it"
    plate.add(BOWL_G + 50).wish("back")
    assert plate.refused is not None
    plate.add(-50).wish("back")
    assert plate.refused == "there is no choice to take back"


def test_taken_back_after_a_key_on_the_scale_it_is_where_the_scale_is() -> None:
    plate = begun_again()
    plate.zero_g = plate.load_g
    plate.rest(4)
    assert plate.named[-1] == "ReferenceMoved"
    plate.wish("back").rest(1)
    assert (plate.phase, plate.named[-1]) == ("asking", "OfferRevoked")
    plate.wish("next").rest(1).add(220)
    assert plate.in_g("butter") == 220


def test_held_in_it_and_gone_on() -> None:
    plate = begun_again().wish("hold").rest(1)
    lifted(plate).add(BOWL_G).wish("resume").rest(2)
    assert plate.phase == "waiting"
    plate.add(240)
    assert plate.in_g("oat flour") == 240


def test_a_batch_given_up_in_it_leaves_a_full_bowl_to_be_lifted() -> None:
    plate = begun_again().wish("abort").rest(1).begin("b2").rest(3)
    assert plate.phase == "vessel off"
    lifted(plate).add(BOWL_G).add(240)
    assert plate.in_g("oat flour") == 240


# Tubs, and what was weighed first.


def test_a_piece_weighed_first_stays_in_its_tub_and_keeps_its_factor() -> None:
    """The egg of 55 g set the factor; it stands apart while the bowl with flour and salt is thrown away."""
    egg = replace(STIFF.stages[1].additions[0], stage="dry", is_weighed_first=True, share_out=Fraction(0))
    flour, salt, butter = STIFF.stages[0].additions
    stages = (
        replace(STIFF.stages[0], additions=(flour, salt, egg)),
        replace(STIFF.stages[1], additions=(replace(butter, stage="creamed"),)),
    )
    plate = Plate(replace(STIFF, stages=stages, pieces=None)).rest(1).add(95).add(55)
    lifted(plate).add(BOWL_G).add(264).add(6)
    assert plate.snapshot.start_again == "dry"
    begun_again(plate)
    assert plate.events[-1].thrown_mg == (("oat flour", 264_000), ("salt", 6_000))  # type: ignore[union-attr]
    lifted(plate).add(BOWL_G).add(264).add(3.3).add(55).add(242)
    record = plate.record
    assert (record["state"], record["factor_exact"]) == ("complete", "11/10")
    assert [a["actual_g"] for a in record["additions"]] == [264, 3.3, 55, 242]


def test_what_stays_in_its_tub_keeps_the_factor_that_it_was_topped_up_to() -> None:
    """More flour than asked made more egg come into its tub: that egg is in, with the flour or without."""
    egg = replace(STIFF.stages[1].additions[0], stage="dry", is_weighed_first=True)
    flour, salt, butter = STIFF.stages[0].additions
    stages = (
        replace(STIFF.stages[0], additions=(flour, salt, egg)),
        replace(STIFF.stages[1], additions=(replace(butter, stage="creamed"),)),
    )
    plate = Plate(replace(STIFF, stages=stages, pieces=None)).rest(1).add(95).add(50)
    lifted(plate).add(BOWL_G).add(270).wish("next").rest(1)
    assert (plate.open, plate.snapshot.addition and plate.snapshot.addition.kind) == ("whole egg", "top-up")
    lifted(plate).add(95 + 50).add(5.6)
    lifted(plate).add(BOWL_G + 270).add(6)
    assert plate.batch is not None
    factor = plate.batch.factor
    begun_again(plate)
    assert plate.events[-1].thrown_mg == (("oat flour", 270_000), ("salt", 6_000))  # type: ignore[union-attr]
    assert plate.batch.factor == factor > 1


def test_a_piece_that_was_poured_in_is_weighed_first_again_and_sets_the_factor_anew() -> None:
    egg = replace(STIFF.stages[1].additions[0], stage="dry", is_weighed_first=True)
    flour, salt, _butter = STIFF.stages[0].additions
    stages = (replace(STIFF.stages[0], additions=(egg, flour, salt)),)
    plate = Plate(replace(STIFF, stages=stages, pieces=None)).rest(1).add(95).add(55)
    lifted(plate).add(BOWL_G).add(55).add(264).add(6)
    begun_again(plate)
    assert plate.events[-1].thrown_mg == (("whole egg", 55_000), ("oat flour", 264_000), ("salt", 6_000))  # type: ignore[union-attr]
    assert (plate.open, word(plate)) == ("whole egg", ("empty vessel", "empty the vessel"))
    assert plate.batch is not None
    assert (plate.batch.planned, plate.batch.factor) == (1, 1)
    lifted(plate).add(BOWL_G)
    assert word(plate) == ("vessel on", "put a tub on")
    lifted(plate).add(95).add(48)
    lifted(plate).add(BOWL_G).add(48).add(230.4).add(2.9)
    record = plate.record
    assert (record["state"], record["factor_exact"]) == ("complete", "24/25")
    assert (plate.batch.ordered, plate.batch.planned) == (1, Fraction(24, 25))
    assert [a["actual_g"] for a in record["additions"]] == [48, 230.4, 2.9]


def test_of_separate_tubs_only_the_one_that_stands_there_is_thrown_away() -> None:
    """From a tub all comes out, so that nobody advises it: a question is asked with the advice all the same."""
    plate = Plate(in_tubs(STIFF)).rest(1).add(95).add(240)
    lifted(plate).add(95).add(5)
    question = plate.batch.question if plate.batch else None
    assert question is not None
    assert plate.snapshot.start_again is None
    plate.batch = replace(plate.batch, question=replace(question, advice=Advice(0, "first", "dry")))
    begun_again(plate)
    assert plate.events[-1].thrown_mg == (("salt", 5_000),)  # type: ignore[union-attr]
    lifted(plate).add(95 + 2)
    assert word(plate) == ("empty vessel", "not empty")
    plate.add(-2)
    assert (plate.phase, plate.open) == ("waiting", "salt")
    plate.add(3)
    lifted(plate).add(95).add(220)
    lifted(plate).add(95).add(50)
    assert [a["actual_g"] for a in plate.record["additions"]] == [240, 3, 220, 50]


def test_a_stage_that_was_closed_is_open_again() -> None:
    plate = too_much_salt()
    assert plate.batch is not None
    plate.batch = replace(plate.batch, closed=frozenset({"dry"}))
    begun_again(plate)
    assert plate.batch.closed == frozenset()
    plate.wish("back").rest(1)
    assert plate.batch.closed == {"dry"}


def test_what_is_weighed_by_feel_is_not_ended_by_a_push_while_the_bowl_is_emptied() -> None:
    water = Addition(
        "water", "dry", "water", "by feel", Fraction(230_000), None, feel_mg=(Fraction(200_000), Fraction(260_000))
    )
    salt = STIFF.stages[0].additions[1]
    stages = (replace(STIFF.stages[0], additions=(water, salt)), STIFF.stages[1])
    plate = Plate(replace(STIFF, stages=stages)).set_bowl().add(215, rest_s=10).press().rest(2).add(5)
    begun_again(plate).rest(3).press().rest(4)
    assert (plate.named[-1], plate.in_g("water")) == ("StageStartedAgain", 0)
    lifted(plate).add(BOWL_G).rest(3).press().rest(3)
    assert plate.in_g("water") == 0
    plate.add(220, rest_s=5).press().rest(3)
    assert (plate.in_g("water"), plate.open) == (220, "salt")
