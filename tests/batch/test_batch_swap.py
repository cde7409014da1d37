"""Another product for what is still to come: its allergens come before its first gram, and a new one wants a yes."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from batch_plate import DOUGH, Plate, to_the_egg

from scaled.batch.batch import Batch
from scaled.batch.choosing import situation
from scaled.batch.codec import data_from_event, event_from_data
from scaled.batch.events import ProductSwapped
from scaled.batch.inputs import SwapProduct
from scaled.catalogue import FolderCatalogue
from scaled.formula.values import Composition, Formula, Product

SPELT = Product("spelt flour", ("wheat",))
MARGARINE = Product("margarine", ("milk",))
ALMOND = Product("almond flour", ("almonds",))
NO_NAME = Product("house blend")


def with_allergens() -> Formula:
    known = {"oat flour": ("oats",), "butter": ("milk",), "whole egg": ("eggs",)}
    stages = tuple(
        replace(stage, additions=tuple(replace(a, allergens=known.get(a.key, ())) for a in stage.additions))
        for stage in DOUGH.stages
    )
    return replace(DOUGH, stages=stages)


def swap(plate: Plate, ingredient: str, product: Product, *, yes: bool = False) -> Plate:
    plate.take(SwapProduct(plate.at, ingredient, product, yes))
    return plate


def batch_of(plate: Plate) -> Batch:
    assert plate.batch is not None
    return plate.batch


def products(plate: Plate, place: int) -> list[dict[str, Any]] | None:
    additions: Any = plate.record["additions"]
    return additions[place].get("product")  # type: ignore[no-any-return]


def test_the_rest_of_what_ran_out_is_another_product() -> None:
    """180 g of butter are in; margarine brings nothing new: the question goes, the rest is weighed and recorded."""
    plate = Plate(with_allergens()).set_bowl().add(240).add(3).add(180).wish("next")
    swap(plate, "butter", MARGARINE)
    assert plate.named[-2:] == ["OffersWithdrawn", "ProductSwapped"]
    assert plate.seen["addition"]["product"] == "margarine"  # type: ignore[index]
    assert plate.snapshot.cautions[0] == "margarine in place of butter: contains milk"
    plate.rest(1).add(40)
    assert plate.open == "whole egg"
    assert plate.in_g("butter") == 220
    assert products(plate, 2) == [{"name": "margarine", "after_g": 180.0, "allergens": ["milk"]}]
    assert products(plate, 0) is None


def test_all_of_it_is_another_product_where_nothing_is_in_yet() -> None:
    plate = swap(Plate(with_allergens()).set_bowl(), "oat flour", SPELT, yes=True).rest(1)
    spoken = plate.bench.cue.spoken
    assert spoken is not None
    assert spoken.phrase == "next"
    assert dict(spoken.values)["ingredient"] == "spelt flour"
    plate.add(240)
    assert products(plate, 0) == [{"name": "spelt flour", "after_g": 0.0, "allergens": ["wheat"]}]
    assert plate.snapshot.done[0].ingredient == "oat flour"
    assert not [caution for caution in plate.snapshot.cautions if "spelt" in caution]


def test_an_allergen_that_is_new_to_the_batch_wants_one_yes() -> None:
    plate = swap(Plate(with_allergens()).set_bowl(), "oat flour", ALMOND)
    assert plate.refused == "almond flour contains almonds, which nothing else in this batch does: say yes to take it"
    assert batch_of(plate).swaps == ()
    swap(plate, "oat flour", ALMOND, yes=True)
    event = plate.events[-1]
    assert isinstance(event, ProductSwapped)
    assert event.new_allergens == ("almonds",)
    assert event_from_data(data_from_event(event)) == event
    assert plate.snapshot.cautions[0] == "almond flour in place of oat flour: contains almonds"
    swap(plate, "salt", Product("almond salt", ("almonds",)))
    assert plate.refused is None  # a yes was said to almonds already
    assert [made.key for made in batch_of(plate).swaps] == ["oat flour", "salt"]


def test_what_nobody_knows_wants_a_yes_too_and_says_so() -> None:
    plate = swap(Plate(with_allergens()).set_bowl(), "oat flour", NO_NAME)
    assert plate.refused == "the allergens of house blend are not known: read its label, then say yes to take it"
    swap(plate, "oat flour", NO_NAME, yes=True)
    assert plate.snapshot.cautions[0] == (
        "house blend in place of oat flour: its allergens are not known, read the label"
    )


def test_a_swap_for_a_later_addition_is_told_when_its_turn_comes() -> None:
    plate = swap(Plate(with_allergens()).set_bowl(), "butter", MARGARINE)
    assert not [caution for caution in plate.snapshot.cautions if "margarine" in caution]
    plate.add(240).add(3)
    assert plate.snapshot.cautions[0] == "margarine in place of butter: contains milk"


def test_what_is_no_longer_or_never_weighed_is_refused() -> None:
    plate = Plate(with_allergens()).set_bowl().add(240)
    for ingredient, product, why in (
        ("oat flour", SPELT, "oat flour is all in: nothing more of it is weighed"),
        ("salt", Product("salt", ()), "salt is what is weighed there"),
        ("cocoa", SPELT, "'cocoa' fits none"),
    ):
        before = batch_of(plate)
        swap(plate, ingredient, product, yes=True)
        assert plate.refused is not None
        assert plate.refused.startswith(why)
        assert plate.batch == before
    over = to_the_egg(Plate(with_allergens())).add(57)
    swap(over, "whole egg", Product("egg substitute", ()))
    assert over.refused == "there is too much of whole egg already: take an offer"


def test_a_top_up_can_be_another_product_and_a_yes_taken_back_does_not_forget_it() -> None:
    plate = to_the_egg(Plate(with_allergens())).add(57).wish("next").rest(1)
    swap(plate, "oat flour", SPELT, yes=True)
    assert products(plate, 0) == [{"name": "spelt flour", "after_g": 240.0, "allergens": ["wheat"]}]
    plate.wish("back")
    assert plate.phase == "asking"
    assert [made.product for made in batch_of(plate).swaps] == [SPELT]


def test_of_another_product_neither_composition_nor_price_is_known() -> None:
    """Nothing is worked out with what the formula's own ingredient consists of and costs."""
    known = Composition(Fraction(1, 10), Fraction(1, 10), Fraction(0))
    formula = with_allergens()
    dry = tuple(replace(a, composition=known, price_per_kg=Fraction(2)) for a in formula.stages[0].additions)
    formula = replace(formula, stages=(replace(formula.stages[0], additions=dry), formula.stages[1]))
    plate = swap(Plate(formula).set_bowl(), "butter", MARGARINE)
    flour, _, butter, _ = situation(batch_of(plate), 0).contents
    assert (flour.composition, flour.price_per_kg) == (known, 2)
    assert (butter.composition, butter.price_per_kg) == (None, None)


def test_the_next_pack_of_what_ran_out_is_a_lot_beside_the_first(plate: Plate) -> None:
    plate.set_bowl().lot("butter", "B-6").lot("butter", "B-7")
    assert dict(batch_of(plate).lots)["butter"] == "B-7"  # put right
    plate.add(240).add(3).add(180).wish("next").lot("butter", "B-8").add(40)
    assert plate.open == "whole egg"
    additions: Any = plate.record["additions"]
    assert additions[2]["lot"] == "B-7, B-8"


def test_the_catalogue_knows_a_product_by_any_of_its_names(tmp_path: Path) -> None:
    """The kitchen's own table goes before the installed one; what stands in neither is known by its name only."""
    (tmp_path / "ingredients.yaml").write_text(
        "ingredients:\n  - {ingredient: house blend, allergens: milk, caution: for frying only}\n", encoding="utf-8"
    )
    shelf = FolderCatalogue(tmp_path)
    assert shelf.product("House blend") == Product("house blend", ("milk",), ("for frying only",))
    assert shelf.product("strong flour") == Product("bread flour", ("gluten (wheat)",))
    assert shelf.product("moon dust") == Product("moon dust", None)
