"""The bench thread: what is shown is on disk, what is asked is answered, and a mistake does not end it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from daemon_bench import ANSWERED_S, FACTS, Bench, refused
from daemon_waiting import eventually

from scaled.batch.cue import Cue
from scaled.batch.events import Event
from scaled.batch.inputs import NameLot, ScaleBack, ScaleLost, TakeOffer, Wanted
from scaled.batch.protocols import Accepted
from scaled.batch.snapshot import Snapshot
from scaled.daemon.inbox import Inbox, Request
from scaled.daemon.sink import Sink
from scaled.weighing.values import Reading

BOWL_G = 500.0


def is_waiting_for(name: str):
    return lambda s: s.addition and (s.addition.key, s.addition.phase) == (name, "waiting")


def with_bowl(bench: Bench) -> None:
    """A batch has begun, the bowl stands there, the flour is next, all is on disk."""
    bench.begun()
    bench.show_until(BOWL_G, lambda _: "VesselTared" in bench.disk.named, "tared")
    bench.disk.write()
    bench.until(is_waiting_for("flour"), "the flour")


def to_the_question(bench: Bench) -> tuple[int, Snapshot]:
    """The flour is over, the question is on disk and shown; the number of a Snapshot before it, and one with it."""
    with_bowl(bench)
    bench.show_until(BOWL_G + 230, lambda _: "OffersMade" in bench.disk.named, "asked")
    before = bench.seen.seq
    bench.disk.write()
    return before, bench.until(lambda s: s.offers, "the offers")


# The disk.


def test_nothing_is_shown_before_it_is_on_disk_and_the_numbers_go_on() -> None:
    with Bench() as bench:
        request = bench.begin()
        bench.show_until(100, lambda s: s.weight and s.weight.gross_mg == 100_000, "a weight")
        bench.show_until(123.4, lambda s: s.weight and s.weight.gross_mg == 123_400, "another weight")
        assert bench.seen.batch is None
        assert bench.seen.is_recorded
        assert not request.answer.done()
        bench.disk.write()
        answer = request.answer.result(ANSWERED_S)
        assert isinstance(answer, Accepted)
        assert answer.batch == "b1"
        assert bench.until(lambda s: s.batch, "the batch").seq == answer.seq


def test_the_cues_go_on_while_the_disk_takes_its_time() -> None:
    """A lot is named in the middle of a pour: the disk hangs, and "stop" is still said in time."""
    cues: list[Cue] = []
    with Bench(show_cue=cues.append) as bench:
        with_bowl(bench)
        request = bench.ask(NameLot(bench.clock.monotonic(), "flour", "F-1"))
        bench.show_until(BOWL_G + 100, lambda s: s.cue.word in ("pour", "under", "slow", "wait"), "poured")
        bench.show_until(BOWL_G + 230, lambda s: s.cue.word in ("stop", "over"), "stop")
        spoken = bench.seen.cue.spoken
        assert not request.answer.done()
        eventually(lambda: {cue.word for cue in cues} >= {"waiting", bench.seen.cue.word}, "the lights have it too")
        bench.show_until(BOWL_G + 230, lambda _: "OffersMade" in bench.disk.named, "asked")
        assert bench.seen.offers == (), "a question was shown that is not on disk"
        bench.disk.write()
        bench.until(lambda s: s.offers, "the question")
        assert bench.seen.cue.spoken != spoken, "what came with the question was not said"
        assert isinstance(request.answer.result(ANSWERED_S), Accepted)


def test_where_the_disk_refuses_the_work_goes_on_not_recorded_and_never_goes_back() -> None:
    with Bench() as bench:
        request = bench.begin()
        bench.disk.is_recorded = False
        assert isinstance(request.answer.result(ANSWERED_S), Accepted)
        seen = bench.until(lambda s: s.batch, "the batch")
        assert not seen.is_recorded
        bench.show_until(BOWL_G, is_waiting_for("flour"), "the flour")
        bench.disk.is_recorded = True
        bench.until(lambda s: s.is_recorded, "recorded again")
        assert is_waiting_for("flour")(bench.seen)
        bench.disk.write()
        bench.show_until(BOWL_G, lambda s: s.seq > seen.seq + 5, "more Snapshots")
        assert is_waiting_for("flour")(bench.seen)


def test_an_event_that_the_recorder_fails_on_has_not_happened(bench_log: pytest.LogCaptureFixture) -> None:
    def fails(_event: Event) -> bool:
        raise ValueError("it cannot be said in JSON")

    with Bench() as bench:
        bench.disk.takes = fails
        with pytest.raises(ValueError, match="cannot be said"):
            bench.begin().answer.result(ANSWERED_S)
        bench.disk.takes = lambda _event: True
        bench.begun("b2")
        assert bench.until(lambda s: s.batch, "the batch").batch.id == "b2"
        assert bench.thread.mistakes == 1
    assert "a mistake in the program" in bench_log.text


# Questions and answers.


def test_an_offer_counts_only_where_its_question_was_seen() -> None:
    with Bench() as bench:
        first = bench.seen.seq
        before, _ = to_the_question(bench)
        at = bench.clock.monotonic()
        assert refused(bench.answered(TakeOffer(at, 0, first))) == "conflict"
        assert refused(bench.answered(TakeOffer(at, 0, before))) == "conflict"
        assert refused(bench.answered(TakeOffer(at, 0, bench.seen.seq + 1000))) == "conflict"
        assert refused(bench.answered(TakeOffer(at, 99, bench.seen.seq))) == "invalid"
        request = bench.ask(TakeOffer(at, 0, bench.seen.seq))
        eventually(lambda: "OfferTaken" in bench.disk.named, "taken")
        bench.disk.write()
        answer = request.answer.result(ANSWERED_S)
        assert isinstance(answer, Accepted)
        assert bench.until(lambda s: not s.offers, "answered").seq == answer.seq


def test_a_new_question_makes_old_offers_stale_also_while_it_is_on_its_way_to_the_disk() -> None:
    with Bench() as bench:
        _, first = to_the_question(bench)
        bench.show_until(BOWL_G + 260, lambda _: bench.disk.named.count("OffersMade") == 2, "asked again")
        bench.show_until(BOWL_G + 260.0, lambda s: s.seq > first.seq + 2, "more Snapshots")
        assert bench.seen.offers == first.offers
        at = bench.clock.monotonic()
        assert refused(bench.answered(TakeOffer(at, 0, bench.seen.seq))) == "conflict"
        assert refused(bench.answered(TakeOffer(at, 0))) == "conflict"
        assert refused(bench.wish("next")) == "conflict"
        before = bench.seen.seq
        bench.disk.write()
        second = bench.until(lambda s: s.offers != first.offers, "the new offers")
        assert refused(bench.answered(TakeOffer(at, 0, before))) == "conflict"
        bench.ask(TakeOffer(at, 0, second.seq))
        eventually(lambda: "OfferTaken" in bench.disk.named, "taken")


def test_a_next_that_was_meant_for_something_else_is_no_yes() -> None:
    """The question is decided but not shown yet: whoever says "next" now means "that is all there is"."""
    with Bench() as bench:
        with_bowl(bench)
        bench.show_until(BOWL_G + 230, lambda _: "OffersMade" in bench.disk.named, "asked")
        assert refused(bench.wish("next")) == "conflict"
        assert "OfferTaken" not in bench.disk.named


def test_whoever_does_not_wait_any_more_has_changed_nothing() -> None:
    """The bench is held up, the caller gives up, the bench goes on: the intent is not taken."""
    inbox = Inbox()
    sink = Sink(Bench().clock, inbox, lambda: None, lambda: FACTS, lambda _day: "b9")  # type: ignore[arg-type,return-value]
    answer = sink.send(Wanted(0.0, "abort"), timeout_s=0.05)
    assert refused(answer) == "full"
    assert "nothing was changed" in answer.why  # type: ignore[union-attr]
    with Bench() as bench:
        bench.begun()
        left = inbox.take(0)
        assert isinstance(left, Request)
        bench.inbox.put_request(left)
        assert refused(bench.answered(TakeOffer(0.0, 0))) == "conflict"
        assert bench.disk.named == ["BatchStarted"]


def test_at_the_end_everybody_has_an_answer() -> None:
    bench = Bench()
    with bench:
        standing = bench.begin()
        eventually(lambda: "BatchStarted" in bench.disk.named, "begun")
    assert refused(standing.answer.result(0)) == "full"
    assert not bench.inbox.put_request(Request(Wanted(0.0, "hold")))
    never_begun = Bench()
    waiting = never_begun.begin()
    never_begun.thread.stop()
    assert refused(waiting.answer.result(0)) == "full"


# Time, and mistakes.


def test_time_does_not_go_back_whatever_waited_in_the_queue() -> None:
    with Bench() as bench:
        bench.begun()
        bench.until(lambda s: s.at > bench.clock.monotonic() - 0.5, "time goes by")
        at = bench.clock.monotonic() - 3
        bench.inbox.put(ScaleLost(at))
        bench.inbox.put(ScaleBack(at))
        bench.ask(Wanted(at, "hold"))
        eventually(lambda: "BatchHeld" in bench.disk.named, "held")
        times = [event.at for _, event in bench.disk.events]
        assert times == sorted(times)


def test_a_silent_line_does_not_stop_the_clock_and_the_page_is_renewed() -> None:
    with Bench() as bench:
        first = bench.seen
        bench.until(lambda s: s.seq >= first.seq + 3, "renewed without a reading")
        assert bench.seen.wall > first.wall


def test_the_seq_goes_on_growing_when_it_starts_anew() -> None:
    first = Bench()
    with first:
        first.until(lambda s: s.seq > first.thread.board.latest().seq - 1, "it runs")
    assert Bench().seen.seq > first.seen.seq


def test_a_mistake_in_the_program_leaves_out_one_input_and_the_numbers_go_on(
    bench_log: pytest.LogCaptureFixture,
) -> None:
    """Weights that no code expects: the digits are shown, intents count, and the log says it once for each place."""
    with Bench() as bench:
        with_bowl(bench)
        for mass_mg in (510_000, 520_000, 530_000, 540_000):
            weight = bench.weigher.see(Reading(bench.clock.monotonic(), mass_mg))
            bench.inbox.put_weight(replace(weight, rest="nonsense"))  # type: ignore[arg-type]
            bench.until(lambda s, mg=mass_mg: s.weight and s.weight.gross_mg == mg, f"{mass_mg} mg")
        assert bench.seen.cue.word == "wait"
        mistakes = bench.thread.mistakes
        assert mistakes >= 4
        bench.show_until(BOWL_G + 200, lambda _: "AdditionConfirmed" in bench.disk.named, "weighed on as before")
    assert 1 <= bench_log.text.count("a mistake in the program") <= 3 < mistakes


def test_a_plain_scale_has_no_question() -> None:
    with Bench() as bench:
        bench.show_until(50, lambda s: s.weight and s.weight.gross_mg == 50_000, "50 g")
        assert refused(bench.wish("next")) == "conflict"
        assert refused(bench.answered(TakeOffer(0.0, 0, bench.seen.seq))) == "conflict"
        assert bench.seen.batch is None
