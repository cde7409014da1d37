"""The one queue into the bench: the newest weight wins, intents are refused rather than dropped, nothing grows."""

from __future__ import annotations

from dataclasses import replace

from scaled.batch.envelope import Envelope
from scaled.batch.events import BatchHeld
from scaled.batch.inputs import ScaleBack, ScaleLost, Wanted
from scaled.daemon.inbox import MOST_HAPPENED, Committed, Inbox, Request
from scaled.weighing.values import Happening, Reading, Weight
from scaled.weighing.weigher import Weigher

PRESS = Happening("press", 1.0, 1.5, 0)


def weight(at: float, *happened: Happening) -> Weight:
    return replace(Weigher().see(Reading(at, 100_000)), happened=happened)


def wanted() -> Request:
    return Request(Wanted(1.0, "hold"))


def test_the_newest_weight_wins_and_keeps_what_had_happened() -> None:
    inbox = Inbox()
    inbox.put_weight(weight(1.0, PRESS))
    inbox.put_weight(weight(2.0))
    inbox.put_weight(weight(3.0, replace(PRESS, from_at=2.5)))
    taken = inbox.take(0)
    assert isinstance(taken, Weight)
    assert (taken.at, [h.from_at for h in taken.happened]) == (3.0, [1.0, 2.5])
    assert inbox.passed_over == 2
    assert inbox.take(0) is None


def test_intents_are_refused_when_too_many_wait_and_taken_again_when_some_are_gone() -> None:
    inbox = Inbox(most_waiting=3)
    requests = [wanted() for _ in range(4)]
    assert [inbox.put_request(request) for request in requests] == [True, True, True, False]
    assert inbox.take(0) is requests[0]
    assert inbox.put_request(requests[3])
    assert [inbox.take(0) for _ in range(3)] == requests[1:]


def test_what_the_bench_must_know_is_taken_however_many_intents_wait() -> None:
    inbox = Inbox(most_waiting=1)
    assert inbox.put_request(wanted())
    committed = Committed(Envelope("bench", 1, "b1", "boot", "", BatchHeld(1.0)))
    inbox.put(committed)
    inbox.put(ScaleLost(2.0))
    assert isinstance(inbox.take(0), Request)
    assert inbox.take(0) is committed
    assert inbox.take(0) == ScaleLost(2.0)


def test_a_weight_from_before_the_loss_is_not_taken_after_it() -> None:
    inbox = Inbox()
    inbox.put_weight(weight(1.0))
    inbox.put(ScaleLost(2.0))
    inbox.put(ScaleBack(3.0))
    inbox.put_weight(weight(3.1))
    assert [inbox.take(0), inbox.take(0)] == [ScaleLost(2.0), ScaleBack(3.0)]
    last = inbox.take(0)
    assert isinstance(last, Weight)
    assert last.at == 3.1


def test_a_bench_that_is_held_up_for_long_holds_no_more_than_a_bit() -> None:
    inbox = Inbox(most_waiting=8)
    for index in range(10_000):
        inbox.put_weight(weight(float(index), PRESS))
        inbox.put_request(wanted())
    taken = [inbox.take(0) for _ in range(9)]
    assert inbox.take(0) is None
    assert isinstance(taken[-1], Weight)
    assert len(taken[-1].happened) == MOST_HAPPENED


def test_a_closed_queue_hands_back_what_nobody_took() -> None:
    inbox = Inbox()
    request = wanted()
    assert inbox.put_request(request)
    assert inbox.close() == [request]
    assert not inbox.put_request(wanted())
    inbox.put(ScaleLost(1.0))
    assert inbox.take(0) == ScaleLost(1.0)
