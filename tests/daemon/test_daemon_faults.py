"""The bench waits neither for the disk nor for the page: a real daemon whose calls are late, hang or fail."""

from __future__ import annotations

import pytest
from daemon_process import Place, Refusal, Running
from daemon_waiting import eventually
from test_daemon_batch import BOWL_G, Weighed

from scaled.batch.events import AdditionConfirmed, VesselTared
from scaled.records.reader import RecordsReader
from scaled.simulator.pseudo_terminal import PtyScale


def strace(fault: str) -> list[str]:
    """The daemon's calls of fdatasync with a fault in them; nothing else is traced, and the tracer stands aside."""
    only = ["-e", "trace=fdatasync", "-e", f"inject=fdatasync:{fault}"]
    return ["strace", "-D", "-f", "--seccomp-bpf", "-qq", "-o", "/dev/null", *only]


@pytest.fixture
def kept(place: Place) -> Place:
    """A place with records that have been begun."""
    with place.run() as running:
        running.until_ready().terminated()
    return place


def test_a_slow_disk_delays_what_is_told_to_have_happened_and_nothing_else(kept: Place, scale: PtyScale) -> None:
    """Each sync takes 0.3 s, a first event three of them: the batch is there after it, the number follows the load."""
    with kept.run(*strace("delay_enter=300000")) as running:
        weighed = Weighed(running.until_ready(60), scale)
        running.until(lambda s: s["weight"] and s["weight"]["settled"], "an empty plate")
        with running.viewer() as stream:
            scale.act(lambda on, at: on.add(BOWL_G, at + 0.1))
            weighed.begin()
            seen = []
            for snapshot in stream:
                seen.append(snapshot)
                if snapshot["addition"] and snapshot["addition"]["phase"] == "waiting":
                    break
        assert all(snapshot["recorded"] for snapshot in seen)
        meanwhile = [s for s in seen if s["batch"] is None and s["weight"]["gross_g"] > 0.9 * BOWL_G]
        assert meanwhile, "the number stood still while the disk took its time"
        running.kill()


def test_a_disk_that_hangs_is_not_waited_for_and_said(kept: Place, scale: PtyScale) -> None:
    """A sync takes 3 s: after 2 s the bench goes on, and shows that this is not recorded."""
    with kept.run(*strace("delay_enter=3000000")) as running:
        weighed = Weighed(running.until_ready(60), scale)
        running.until(lambda s: s["weight"] and s["weight"]["settled"], "an empty plate")
        weighed.begin()
        assert running.status["recorded"] is False
        weighed.put(BOWL_G).until("waiting", "oat flour")
        weighed.put(240).until("waiting", "sea salt")
        running.kill()


def test_a_disk_that_fails_does_not_stop_the_batch(kept: Place, scale: PtyScale) -> None:
    with kept.run(*strace("error=EIO")) as running:
        weighed = Weighed(running.until_ready(60), scale)
        weighed.begin().put(BOWL_G).until("waiting", "oat flour")
        weighed.put(240).until("waiting", "sea salt")
        assert running.status["recorded"] is False
        assert is_unwell(running)
        running.kill()


def is_unwell(running: Running) -> bool:
    try:
        running.ask("/healthz")
    except Refusal as refusal:
        return refusal.status == 503
    return False


def test_a_page_that_crashes_does_not_stop_the_weighing(kept: Place, scale: PtyScale) -> None:
    """Every wait of the page's loop fails from some moment on: nobody can look any more, and the batch goes on."""
    only = ["-e", "trace=poll", "-e", "inject=poll:error=EFAULT:when=60+"]
    tracer = ["strace", "-D", "-f", "--seccomp-bpf", "-qq", "-o", "/dev/null", *only]
    with kept.run(*tracer) as running:
        weighed = Weighed(running.until_ready(60), scale).begin()
        eventually(lambda: not answers(running), "the page is gone")
        reader = RecordsReader(kept.records)

        def is_recorded(event: type[object]) -> bool:
            return any(isinstance(envelope.event, event) for envelope in reader.envelopes(weighed.batch))

        weighed.put(BOWL_G)
        eventually(lambda: is_recorded(VesselTared), "the bowl is tared")
        weighed.put(240)
        eventually(lambda: is_recorded(AdditionConfirmed), "the flour is in")
        assert running.terminated() < 5


def answers(running: Running) -> bool:
    try:
        return bool(running.ask("/healthz"))
    except OSError:
        return False
