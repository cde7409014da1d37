"""Sets up the simulated bench and plays one case on it, from the empty plate to the record.

The daemon is the real one, its records are real files in a temporary folder, the line is a real pseudo-terminal; one
clock serves them all, so that a fast demonstration is the same bench at a faster pace. While the cook works the clock
goes from moment to moment, and on only when the bench has shown what the scale has said: where a machine is too slow
for the speed that was asked for, the demonstration is slower, and the cook sees no later than ever.
"""

from __future__ import annotations

import random
import tempfile
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from scaled.batch.inputs import Intent, StartBatch
from scaled.batch.protocols import Accepted
from scaled.batch.record import Record, record_from
from scaled.clock import RealClock, SpedUpClock
from scaled.config import ScaleSettings, Settings
from scaled.daemon.daemon import Daemon
from scaled.demo.cases import Case
from scaled.demo.story import Story
from scaled.errors import Busy, ScaledError
from scaled.instruments.formats import installed_formats
from scaled.page.options import PageOptions
from scaled.records.reader import RecordsReader
from scaled.shipped import shipped
from scaled.simulator.cook import Cook
from scaled.simulator.hands import Hands
from scaled.simulator.parameters import ScaleParameters
from scaled.simulator.pseudo_terminal import PtyPlate, PtyScale
from scaled.simulator.scale import SimulatedScale

MOMENT_S = 0.021  # no whole number of them is a period of the bench, so that no rounding says which of two comes first
HEARD_BY_S = 2.0
LONGEST_S = 900.0
HUNG_S, LOOK_S = 30.0, 0.0005  # real seconds: a bench that shows nothing for so long is broken; between two looks


@dataclass(frozen=True)
class Played:
    """The record of the batch and what the cook's hands really put in, in grams by addition."""

    record: Record
    true_g: dict[str, float]


class Stage:
    """One demonstration; a context manager that clears everything away."""

    def __init__(self, case: Case, *, speed: float, seed: int, has_page: bool, tell: Callable[[str], None]) -> None:
        self.case = case
        self.clock = SpedUpClock(speed, is_held=True)
        self.tell = tell
        self._has_page = has_page
        self._port = 8080
        self._source = random.Random(seed)  # noqa: S311 - no secret, a simulation
        self._cleanup = ExitStack()
        self._story = Story(tell)

    def __enter__(self) -> Stage:
        folder = Path(self._cleanup.enter_context(tempfile.TemporaryDirectory(prefix="scaled-demo-")))
        parameters = ScaleParameters(noise_d=0.05)  # a quiet scale: an egg of 57.0 g is shown as that
        simulated = SimulatedScale(parameters, seed=self._source.randrange(2**31), at=self.clock.monotonic())
        self.pty = self._cleanup.enter_context(PtyScale(simulated, self.clock, folder, "scale"))
        scale = ScaleSettings(
            name="bench",
            port=str(self.pty.path),
            line=installed_formats()["header"],
            capacity_mg=parameters.capacity_mg,
            division_mg=parameters.division_mg,
        )
        self.settings = Settings(folder / "none", (scale,), shipped("recipes"), folder / "records.db")
        self.daemon = self._daemon()
        self.hands = Hands(PtyPlate(self.pty))
        self.cook = Cook(self.hands, self.case.style, self._source, self._wish)
        return self

    def __exit__(self, *_: object) -> None:
        self.daemon.stop()
        self._cleanup.close()

    @property
    def url(self) -> str | None:
        return self.daemon.page.url if self.daemon.page else None

    def play(self) -> Played:
        """Begin the batch and weigh it to its end; raises ScaledError where it does not come to one."""
        self._wait_for_weight()
        begun = self.daemon.sink.send(StartBatch(self.clock.monotonic(), self.case.formula, Fraction(1)))
        if not isinstance(begun, Accepted) or begun.batch is None:
            raise ScaledError(f"the demonstration did not begin: {begun}")
        return self.cook_batch(begun.batch)

    def cook_batch(self, batch: str) -> Played:
        """Let the cook work on a batch that has begun, to its end."""
        try:
            self.clock.hold()
            self._cook_until(self.clock.monotonic() + LONGEST_S)
        finally:
            self.clock.release()
        return Played(self._record(batch), dict(self.hands.true_g))

    def _cook_until(self, until: float) -> None:
        trouble = self.case.trouble
        seen = 0
        while self.clock.monotonic() < until:
            self._moment()
            snapshot = self.daemon.bench.board.latest()
            if snapshot.seq != seen:
                seen = snapshot.seq
                self.cook.see(snapshot)
            if snapshot.batch is not None and snapshot.batch.state in ("complete", "aborted"):
                break
            if trouble is not None and self.hands.true_g.get(trouble.key, 0.0) > self._share_g(trouble.at_share):
                self._befall(trouble.what, trouble.lasts_s)
                trouble, seen = None, 0
            self.cook.act(self.clock.monotonic())

    def _moment(self) -> None:
        """Let a moment of bench time go by, and the bench do and show all that it does in it.

        First what it does by itself, then what it does about a line: the same seed gives the same batch.
        """
        at = round(self.clock.monotonic() / MOMENT_S + 1) * MOMENT_S

        def go_on(_scale: object, _now: float) -> None:
            self.clock.run_to(at)
            self._await(lambda _weight_at, acts_at: acts_at > at)

        self.pty.act(go_on)  # no line is written meanwhile
        written_at = self.pty.act(lambda _scale, _now: self.pty.written_at)
        port = self.daemon.scale.port

        def is_heard(weight_at: float, _acts_at: float) -> bool:
            return weight_at >= written_at or (port.condition != "ready" and port.moved_at >= written_at)

        self._await(is_heard)

    def _await(self, is_so: Callable[[float, float], bool]) -> None:
        """Wait until the bench has shown all that it decided, and `is_so` of its newest weight and its next act."""
        real = RealClock()
        until_s = real.monotonic() + HUNG_S
        while (at_rest := self.daemon.bench.at_rest) is None or not is_so(*at_rest):
            if real.monotonic() > until_s:
                raise ScaledError(f"the bench stands still for {HUNG_S:g} s")
            real.sleep(LOOK_S)

    def _pass(self, bench_s: float) -> None:
        until = self.clock.monotonic() + bench_s
        while self.clock.monotonic() < until:
            self._moment()

    def _share_g(self, share: float) -> float:
        trouble = self.case.trouble
        formula = self.daemon.catalogue.formula(self.case.formula)
        return float(formula.addition(trouble.key).target_mg(Fraction(1)) / 1000) * share if trouble else 0.0

    def _wish(self, intent: Intent) -> None:
        self.daemon.sink.send(intent)

    def _daemon(self) -> Daemon:
        """A daemon that runs; on a free port where the usual one is taken, and the same again after a power cut."""
        for port in (self._port, 0):
            settings = replace(self.settings, page=PageOptions(port=port))
            daemon = Daemon(settings, self.clock, has_page=self._has_page, on_committed=self._story.happened)
            try:
                daemon.start()
            except Busy:
                if port == 0:
                    raise
                continue
            self._port = daemon.page.port if daemon.page else port
            return daemon
        raise AssertionError("a free port was asked for and none was had")

    def _wait_for_weight(self) -> None:
        """Until the scale is heard, and the same time each time: the batch begins at the same moment."""
        self._pass(HEARD_BY_S)
        if self.daemon.bench.board.latest().weight is None:
            raise ScaledError("the simulated scale was not heard")

    def _befall(self, what: str, lasts_s: float) -> None:
        self._say(f"*** {what} ***")
        self.cook.startle()
        if what == "unplugged":
            self.pty.unplug()
            self._pass(lasts_s)
            self.pty.replug()
        else:
            self.pty.act(lambda scale, now: scale.switch_off(now))
            self.daemon.stop()
            self.clock.run_to(self.clock.monotonic() + lasts_s)
            self.pty.act(lambda scale, now: scale.switch_on(now))
            self.daemon = self._daemon()
        self.cook.act(self.clock.monotonic())
        self.cook.startle()
        self._say("*** and back ***")

    def _say(self, text: str) -> None:
        self._story.say(self.clock.monotonic(), text)

    def _record(self, batch: str) -> Record:
        return record_from(RecordsReader(self.settings.records).envelopes(batch))
