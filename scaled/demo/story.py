"""The story in the terminal: one line for each thing that happened, told once it is on disk."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from scaled.batch import events as e
from scaled.batch.acceptance import shown_mg, verdict
from scaled.batch.apply import apply
from scaled.batch.batch import Batch
from scaled.batch.choosing import situation
from scaled.batch.envelope import Envelope
from scaled.batch.view import shown_offers
from scaled.formula.values import Addition
from scaled.texts.correction import costs, headline
from scaled.texts.tables import grams_text

DOUBTS = {
    "zero lost": "the scale shows what cannot be: lift the bowl",
    "load changed": "the bowl does not weigh what it did: is that right?",
    "load heavier": "heavier than any bowl known: is something in it?",
}


@dataclass
class Story:
    """Folds the events once more, to tell each in its place; `tell` prints a line."""

    tell: Callable[[str], None]
    batch: Batch | None = None
    started_at: float = 0.0

    def happened(self, envelope: Envelope) -> None:
        """One event, as it was committed."""
        event = envelope.event
        self.batch = apply(self.batch, event)
        if isinstance(event, e.BatchStarted):
            self.started_at = event.at
        text = _line(self.batch, event)
        if text:
            self.say(event.at, text)

    def say(self, at: float, text: str) -> None:
        """A line with the time since the batch began."""
        for index, part in enumerate(text.split("\n")):
            stamp = f"{at - self.started_at:7.1f} s" if index == 0 else " " * 9
            self.tell(f"{stamp}  {part}")


def _line(batch: Batch, event: e.Event) -> str:  # noqa: C901, PLR0912 - one case an event
    match event:
        case e.BatchStarted():
            return f"{batch.formula.title}, factor {batch.factor}: {len(batch.order)} things to weigh"
        case e.VesselTared(gross_mg=gross_mg):
            return f"bowl on, {_shown(batch, gross_mg)}; tared by itself\n{_next(batch)}"
        case e.AdditionConfirmed(key=key):
            return f"{_result(batch, key)}\n{_next(batch)}".rstrip()
        case e.AdditionAmended(key=key, more_mg=more_mg):
            return f"  {_shown(batch, more_mg)} late grains of {key}"
        case e.AdditionReopened(key=key):
            return f"that was a tool, not {key}: it is open again"
        case e.ToppedUp(key=key, net_mg=net_mg):
            verb = "topped up by" if net_mg >= 0 else "taken out:"
            return f"{key} {verb} {_shown(batch, abs(net_mg))}\n{_result(batch, key)}\n{_next(batch)}".rstrip()
        case e.OffersMade():
            return _question(batch)
        case e.OffersWithdrawn(key=key):
            return f"{key} is back where it may be: nothing to ask"
        case e.OfferTaken(offer=offer):
            return f"YES: {offer.offer}, factor {offer.factor}\n{_next(batch)}".rstrip()
        case e.DoubtRaised(doubt=doubt):
            return f"WAIT: {DOUBTS[doubt]}"
        case e.DoubtSettled():
            return "settled: the weight is known again"
        case e.BenchRestarted():
            return f"the bench is back and goes on in the same batch\n{_next(batch)}".rstrip()
        case e.BatchCompleted():
            return f"complete: {_shown(batch, batch.contents_mg)} in the bowl"
    return ""


def _shown(batch: Batch, mass_mg: Fraction | int) -> str:
    """A mass as the scale shows it, and as the record has it."""
    return f"{grams_text(shown_mg(round(mass_mg), batch.facts.division_mg) / 1000)} g"


def _next(batch: Batch) -> str:
    weighing, addition = batch.weighing, batch.addition
    if weighing is None or addition is None or batch.question is not None:
        return ""
    held = batch.content(weighing.key).in_mg
    missing = Fraction(held) if weighing.kind == "pour in" else batch.target_mg(addition) - held
    verb = "next" if weighing.kind == "addition" else weighing.kind.replace("-", " ")
    return f"  {verb}: {addition.key}, {_shown(batch, abs(missing))} (in all {_band(batch, addition)})"


def _band(batch: Batch, addition: Addition) -> str:
    """The least and the most that the scale can show in the band; the band itself where it can show neither."""
    d = batch.facts.division_mg
    lo, hi = batch.band_mg(addition)
    least, most = -(-lo // d) * d, hi // d * d
    if least <= most:
        lo, hi = least, most
    return f"{grams_text(lo / 1000)} to {grams_text(hi / 1000)}"


def _result(batch: Batch, key: str) -> str:
    addition = batch.formula.addition(key)
    content = batch.content(key)
    where = verdict(batch, addition, content.in_mg, content.weighings)
    return f"{key}: {_shown(batch, content.in_mg)} of {_shown(batch, batch.target_mg(addition))}, {where}"


def _question(batch: Batch) -> str:
    question = batch.question
    if question is None:
        return ""
    total = batch.content(question.key).in_mg + question.net_mg
    target = batch.target_mg(batch.formula.addition(question.key))
    wrong = "OVER" if total > target else "SHORT"
    stands = situation(batch, question.net_mg)
    lines = [f"{wrong}: {question.key} is {_shown(batch, total)}, asked was {_shown(batch, target)}. Ways out:"]
    for index, shown in enumerate(shown_offers(batch), start=1):
        lines.append(f"  {index}. {shown.offer.offer}: {headline(stands, shown.offer)}")
        if costing := costs(shown.offer):
            lines.append(f"     {costing}")
    return "\n".join(lines)
