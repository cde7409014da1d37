"""Another product for what is still to come of an addition: may it be taken, and what must be said of it.

A product may bring an allergen that nothing else in the batch has, or one that nobody knows: then one yes is asked for
before it is taken. What it contains is shown as long as it is weighed.
"""

from __future__ import annotations

from scaled.batch import events as e
from scaled.batch.acceptance import verdict
from scaled.batch.batch import Batch
from scaled.batch.bench import Bench
from scaled.batch.outcome import Outcome, Refusal
from scaled.formula.values import Addition, Product


def swapped(batch: Batch, bench: Bench, addition: Addition, product: Product, *, is_yes: bool) -> Outcome:
    """The events of a swap, or why it is refused and what can be done."""
    why_not = _why_not(batch, addition, product)
    if why_not is not None:
        return Refusal(why_not)
    new = new_allergens(batch, product)
    if not is_yes and product.allergens is None:
        return Refusal(f"the allergens of {product.name} are not known: read its label, then say yes to take it")
    if not is_yes and new:
        contains = f"contains {', '.join(new)}, which nothing else in this batch does"
        return Refusal(f"{product.name} {contains}: say yes to take it")
    event = e.ProductSwapped(bench.at, addition.key, product, _in_mg(batch, bench, addition), new)
    question = batch.question
    if question is not None and question.key == addition.key:
        return e.OffersWithdrawn(bench.at, addition.key), event
    return (event,)


def new_allergens(batch: Batch, product: Product) -> tuple[str, ...]:
    """The allergens of a product that nothing else in the batch has."""
    known = {allergen for addition in batch.formula.additions for allergen in addition.allergens}
    known |= {allergen for swap in batch.swaps for allergen in swap.product.allergens or ()}
    return tuple(allergen for allergen in product.allergens or () if allergen not in known)


def cautions_of_swap(batch: Batch, addition: Addition) -> tuple[str, ...]:
    """What is said while another product is weighed; empty where it is what the formula names."""
    product = batch.product_of(addition.key)
    if product is None:
        return ()
    match product.allergens:
        case None:
            contains = "its allergens are not known, read the label"
        case ():
            contains = "no allergen known of it"
        case allergens:
            contains = f"contains {', '.join(allergens)}"
    return f"{product.name} in place of {addition.ingredient}: {contains}", *product.cautions


def _why_not(batch: Batch, addition: Addition, product: Product) -> str | None:
    weighing, question = batch.weighing, batch.question
    is_open = weighing is not None and weighing.key == addition.key and weighing.kind in ("addition", "top-up")
    if addition.is_told:
        return f"{addition.ingredient} is not weighed: it is told only"
    if batch.content(addition.key).is_in and not is_open:
        return f"{addition.ingredient} is all in: nothing more of it is weighed"
    if product.name == batch.name_of(addition):
        return f"{product.name} is what is weighed there"
    if question is not None and question.key == addition.key:
        total = batch.content(addition.key).in_mg + question.net_mg
        if verdict(batch, addition, total) == "over":
            return f"there is too much of {addition.ingredient} already: take an offer"
    return None


def _in_mg(batch: Batch, bench: Bench, addition: Addition) -> int:
    """What is in of the addition, as the scale shows it now."""
    weighing, weight = batch.weighing, bench.weight
    held = batch.content(addition.key).in_mg
    if weighing is None or weight is None or weighing.key != addition.key or bench.is_vessel_off or batch.emptying:
        return held
    rest = bench.rest
    return held + max(0, batch.net_mg(weight.shown_mg if rest is None else rest.mass_mg))
