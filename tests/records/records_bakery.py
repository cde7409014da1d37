"""Batches of an oat and honey short dough, as the events that a bench would record."""

from fractions import Fraction

from scaled.batch.events import (
    AdditionConfirmed,
    BatchCompleted,
    BatchStarted,
    BenchFacts,
    LotNamed,
    OffersMade,
    OfferTaken,
    StageClosed,
    ToppedUp,
    VesselTared,
)
from scaled.formula.situation import Offer
from scaled.formula.values import Addition, Formula, Side, Stage, Tolerance

FACTS = BenchFacts("bench", division_mg=100, repeatability_mg=40.0, capacity_mg=6_000_000)
ONE_PERCENT = Tolerance(Side(Fraction(1, 100), is_relative=True), Side(Fraction(1, 100), is_relative=True))


def addition(name, grams, stage="dry"):
    return Addition(name, stage, name, "weighed", Fraction(grams * 1000), ONE_PERCENT, allergens=("gluten",))


def short_dough(title="Oat and honey short dough", stem="oat-honey"):
    dry = Stage("dry", (addition("wheat flour", 300), addition("oat flour", 100), addition("icing sugar", 60)))
    zest = Addition("lemon zest", "creamed", "lemon zest", "told", None, None, told="1 lemon")
    creamed = Stage("creamed", (addition("butter", 200, "creamed"), addition("whole egg", 50, "creamed"), zest))
    return Formula(stem, title, (dry, creamed), pieces=Fraction(4))


def weighed(key, net_g, at, gross_g=900):
    return AdditionConfirmed(at, key, round(net_g * 1000), round(gross_g * 1000), settled_at=at - 1.0)


def plain_batch(batch, at=1000.0, lots=(), formula=None):
    """The events of a batch in which everything goes in to the gram; `lots` are pairs of key and lot."""
    formula = formula or short_dough()
    events = [BatchStarted(at, batch, formula, Fraction(1), FACTS), VesselTared(at + 2, 812_000)]
    gross_g = 812.0
    for number, line in enumerate(formula.weighed, 1):
        grams = line.weight_mg / 1000
        gross_g += float(grams)
        events.append(weighed(line.key, grams, at + 20 * number, gross_g))
    events += [LotNamed(at + 150, key, lot) for key, lot in lots]
    return [*events, StageClosed(at + 160, "dry"), BatchCompleted(at + 170)]


def overpoured_batch(batch, at=1000.0):
    """The egg comes out at 57 g; all else is topped up to 1.14 times."""
    more = {"wheat flour": 42, "oat flour": 14, "icing sugar": 8.4, "butter": 28}
    bowl = (342_000, 114_000, 68_400, 228_000, 57_000)
    offer = Offer(
        offer="scale up, exact",
        factor=Fraction(57, 50),
        bowl_mg=bowl,
        extra_mass_mg=Fraction(99_400),
        extra_weighings=4,
        taken_out_mg=0,
        worst_deviation=Fraction(0),
        makes=Fraction(114, 25),
        cost=None,
    )
    events = plain_batch(batch, at)[:6]  # all but the egg
    events += [
        OffersMade(at + 100, "whole egg", 57_000, 1_529_000, at + 99, (offer,)),
        OfferTaken(at + 104, "whole egg", offer),
    ]
    for number, (key, grams) in enumerate(more.items(), 1):
        events.append(ToppedUp(at + 104 + 10 * number, key, round(grams * 1000), 1_600_000, at + 103 + 10 * number))
    return [*events, BatchCompleted(at + 150)]


def keep(journal, batch, events):
    """Append the events one after the other, as a bench does."""
    return [journal.append(batch, event) for event in events]
