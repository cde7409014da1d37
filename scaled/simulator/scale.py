"""A simulated scale: a load goes on, lines come out, and nothing waits for a clock.

The strategy is one queue of what happens to the load (masses put on and taken off, at their times), a list of forces
that are no mass, and three steps that are interleaved in the order of time: the load changes, a new result is made
(response, creep, noise, mixer, quantisation, the scale's own flag), the newest result is sent once more. All that is
random comes from one `random.Random`: a seed gives the same bytes however time is cut.

What the scale shows is never its truth: `true_load_g` is the mass on the plate, for whoever checks a record.
"""

from __future__ import annotations

import heapq
import math
import random
from collections.abc import Callable
from dataclasses import replace
from itertools import count

from scaled.simulator.forces import Force, landing, press, walk
from scaled.simulator.lines import LineWriter
from scaled.simulator.parameters import CREEP_S, NOISE_CORRELATION, NOISE_CORRELATION_S, ScaleParameters
from scaled.simulator.response import Response
from scaled.weighing.values import Reading

FORCE_STEP_S = 0.005  # while a force changes, time is cut this fine
POUR_STEP_S = 0.01  # a stream is dealt out in grains of this length
BLIP_GAP = 3  # lines between two blips of the flag, at least
LINE_PHASE = 0.2  # of a line: a result is made a little before it is sent


class SimulatedScale:
    """One scale, stepped by time; `at` never goes back, but what happens may be told for later."""

    def __init__(
        self, parameters: ScaleParameters | None = None, seed: int = 0, at: float = 0.0, load_g: float = 0.0
    ) -> None:
        self.parameters = p = parameters or ScaleParameters()
        self.at = at
        self.true_load_g = load_g
        self._random = random.Random(seed)  # noqa: S311 - no secret, a simulation
        self._writer = LineWriter(p)
        self._response = Response(p.natural_frequency_rad_s, p.damping, load_g)
        self._followed_to = at  # how far the response has been worked out: to the last thing that happened
        self._changes: list[tuple[float, int, Callable[[], None]]] = []
        self._order = count()
        self._forces: list[Force] = []
        self._start_at = at
        self._updates = 0
        self._lines = 0
        self._zero_g = 0.0
        self._tare_mg = 0
        self._is_net = False
        self._is_on = True
        self._creep_g = 0.0
        self._noise_g = self._random.gauss(0.0, 1.0) * p.noise_d * p.division_mg / 1000
        self._noise_keeps = NOISE_CORRELATION ** (1.0 / (p.updates_per_s * NOISE_CORRELATION_S))
        self._mixer_phase = self._random.uniform(0.0, 2 * math.pi)
        self._moved_at = -math.inf
        self._blip_ends = -BLIP_GAP  # the number of a line
        self._counts = self._shown_counts = 0
        self._result_mg: int | None = 0
        self._make_result(at)
        self._moved_at = -math.inf

    # What a cook does. Times in the future wait until `advance_to` comes to them.

    def add(self, mass_g: float, at: float | None = None) -> None:
        """Mass comes on (or, negative, off) at once."""

        def change() -> None:
            self.true_load_g += mass_g

        self._later(at, change)

    def put(self, mass_g: float, at: float | None = None, *, splash: float = 0.0, lasts_s: float = 0.12) -> None:
        """Something drops in; while it lands it seems heavier by `splash` of itself (an egg: 0.05 to 0.15)."""
        start_at = self.at if at is None else at
        self.add(mass_g, start_at)
        if splash > 0:
            self.push(landing(mass_g * splash, start_at, lasts_s=lasts_s))

    def pour(self, rate_g_s: float, at: float, lasts_s: float) -> None:
        """An even stream from `at` on (a negative rate takes off)."""
        grains = max(1, round(lasts_s / POUR_STEP_S))
        for index in range(grains):
            self.add(rate_g_s * lasts_s / grains, at + (index + 0.5) * lasts_s / grains)

    def set_load(self, load_g: float, at: float | None = None) -> None:
        """Whatever was on the plate is replaced: 0 is the vessel lifted off."""

        def change() -> None:
            self.true_load_g = load_g

        self._later(at, change)

    def press(
        self,
        peak_g: float,
        at: float | None = None,
        *,
        rise_s: float = 0.25,
        hold_s: float = 0.2,
        release_s: float = 0.2,
    ) -> None:
        """A hand presses on the plate and lets go; no mass stays."""
        start_at = self.at if at is None else at
        self.push(press(peak_g, start_at, rise_s=rise_s, hold_s=hold_s, release_s=release_s))

    def walk(self, by_g: float, at: float | None = None, *, lasts_s: float = 10.0) -> None:
        """The value walks away and back with nothing put on."""
        self.push(walk(by_g, self.at if at is None else at, lasts_s=lasts_s))

    def push(self, force: Force) -> None:
        """Any force that is no mass."""
        self._forces.append(force)

    # The scale's own keys and its plug.

    def tare_key(self, at: float | None = None) -> None:
        """The tare key: what is on shows as 0 net; pressed with next to nothing on, back to gross."""

        def change() -> None:
            gross_mg = self._gross_mg()
            self._is_net = gross_mg > self.parameters.division_mg
            self._tare_mg = gross_mg if self._is_net else 0

        self._later(at, change)

    def net_gross_key(self, at: float | None = None) -> None:
        """Switch what is shown between net and gross; the tare is kept."""

        def change() -> None:
            self._is_net = not self._is_net and self._tare_mg != 0

        self._later(at, change)

    def zero_key(self, at: float | None = None) -> None:
        """Call what is on now nothing."""
        self._later(at, self._zero)

    def switch_off(self, at: float | None = None) -> None:
        """The plug is pulled: no more lines."""

        def change() -> None:
            self._is_on = False

        self._later(at, change)

    def switch_on(self, at: float | None = None) -> None:
        """Switched on again: the scale calls what is on the plate zero, a bowl too, and knows no tare."""

        def change() -> None:
            self._is_on = True
            self._zero()

        self._later(at, change)

    # Time goes by.

    def move_to(self, at: float) -> None:
        """Say that it is `at` now, with no time gone by: what was told for later moves along."""
        by_s = at - self.at
        self.at += by_s
        self._start_at += by_s
        self._followed_to += by_s
        self._moved_at += by_s
        self._changes = [(change_at + by_s, order, change) for change_at, order, change in self._changes]
        self._forces = [replace(f, from_at=f.from_at + by_s, to_at=f.to_at + by_s) for f in self._forces]

    def advance_to(self, at: float) -> list[tuple[float, bytes]]:
        """Let time run to `at`; returns the lines sent meanwhile, each with its time, CR LF included."""
        sent: list[tuple[float, bytes]] = []
        writer = self._writer
        for line_at, value_mg, in_motion, is_net in self._run(at):
            sent.append((line_at, writer.line(value_mg, in_motion=in_motion, is_net=is_net)))
        return sent

    def readings_to(self, at: float) -> list[Reading]:
        """As `advance_to`, but the readings that a perfect line would give: for long simulations without bytes."""
        is_told = self.parameters.shape != "plain"
        return [
            Reading(
                at=line_at,
                value_mg=value_mg,
                in_motion=in_motion if is_told else None,
                is_net=is_net if is_told else None,
                state="ready" if value_mg is not None else "over capacity",
                shown_division_mg=self.parameters.division_mg,
            )
            for line_at, value_mg, in_motion, is_net in self._run(at)
        ]

    def next_line_at(self) -> float:
        """When the next line is due."""
        return self._start_at + (self._lines + LINE_PHASE) / self.parameters.lines_per_s

    def _run(self, until_at: float) -> list[tuple[float, int | None, bool, bool]]:
        if until_at < self.at:
            raise ValueError(f"time does not go back: at {self.at}, asked for {until_at}")
        sent = []
        p = self.parameters
        while True:
            update_at = self._start_at + (self._updates + 1) / p.updates_per_s
            line_at = self._start_at + (self._lines + LINE_PHASE) / p.lines_per_s
            change_at = self._changes[0][0] if self._changes else math.inf
            next_at = min(update_at, line_at, change_at)
            if next_at > until_at:
                break
            if next_at == change_at:
                self._follow_to(change_at)
                heapq.heappop(self._changes)[2]()
            elif next_at == update_at:
                self._follow_to(update_at)
                self._updates += 1
                self._make_result(update_at)
            else:
                self._lines += 1
                if self._is_on:
                    sent.append((line_at, self._result_mg, self._flag(line_at), self._is_net))
        self.at = until_at
        return sent

    def _later(self, at: float | None, change: Callable[[], None]) -> None:
        if at is not None and at < self.at:
            raise ValueError(f"it is {self.at} already: {at} is past")
        heapq.heappush(self._changes, (self.at if at is None else at, next(self._order), change))

    def _follow_to(self, at: float) -> None:
        """Let the load receptor follow; finely where a force is at work, in one step where none is."""
        while self._followed_to < at:
            now, to_at, force_g = self._followed_to, at, 0.0
            if self._forces:
                self._forces = [force for force in self._forces if force.to_at > now]
                acting = [force for force in self._forces if force.from_at <= now]
                to_at = min([at, *(force.from_at for force in self._forces if force.from_at > now)])
                if acting:
                    to_at = min(to_at, now + FORCE_STEP_S)
                    middle = (now + to_at) / 2
                    force_g = sum(force.grams_at(middle - force.from_at) for force in acting if middle < force.to_at)
            self._response.step(self.true_load_g + force_g, to_at - now)
            self._followed_to = to_at

    # One result.

    def _make_result(self, at: float) -> None:
        p = self.parameters
        d_g = p.division_mg / 1000
        step_s = 1.0 / p.updates_per_s
        keeps = self._noise_keeps
        self._noise_g = keeps * self._noise_g + math.sqrt(1 - keeps * keeps) * self._random.gauss(0, p.noise_d * d_g)
        creep_g = p.creep_d * d_g * self._response.value_g * 1000 / p.capacity_mg
        self._creep_g += (creep_g - self._creep_g) * step_s / CREEP_S
        value_g = self._response.value_g + self._creep_g + self._noise_g
        if p.mixer_g:
            value_g += p.mixer_g * math.sin(2 * math.pi * p.mixer_hz * at + self._mixer_phase)
        self._track_zero(value_g, step_s)
        value_g -= self._zero_g
        if p.wild_per_1000 and self._random.random() * 1000 < p.wild_per_1000:
            value_g *= self._random.uniform(0.1, 0.4)
        self._counts = math.floor(value_g / d_g + 0.5)
        if abs(self._counts - self._shown_counts) >= p.flag_threshold_d:
            self._moved_at = at
        self._shown_counts = self._counts
        self._result_mg = self._shown_mg()

    def _shown_mg(self) -> int | None:
        """What the display says: nothing beyond Max + 9 d (OIML R 76-1, 4.2.3), no minus where it has none."""
        p = self.parameters
        gross_mg = self._gross_mg()
        if gross_mg > p.capacity_mg + 9 * p.division_mg:
            return None
        shown_mg = gross_mg - self._tare_mg if self._is_net else gross_mg
        return shown_mg if p.shows_negatives else max(0, shown_mg)

    def _gross_mg(self) -> int:
        return self._counts * self.parameters.division_mg

    def _zero(self) -> None:
        self._zero_g += self._counts * self.parameters.division_mg / 1000
        self._counts = self._shown_counts = 0
        self._tare_mg = 0
        self._is_net = False
        self._result_mg = self._shown_mg()

    def _track_zero(self, value_g: float, step_s: float) -> None:
        """Follow a small drift about zero, gross only, at most at the rate that R 76 allows."""
        p = self.parameters
        off_g = value_g - self._zero_g
        if p.zero_tracking_d_s and abs(off_g) < 0.5 * p.division_mg / 1000:
            most_g = p.zero_tracking_d_s * p.division_mg / 1000 * step_s
            self._zero_g += max(-most_g, min(most_g, off_g))

    def _flag(self, at: float) -> bool:
        """Whether the scale says "in motion": late, with blips, and blind to what moves slowly."""
        p = self.parameters
        since_blip = self._lines - self._blip_ends
        if since_blip <= 0:
            return True
        if since_blip > BLIP_GAP and self._random.random() * 60 * p.lines_per_s < p.blips_per_min:
            self._blip_ends = self._lines + self._random.randint(0, 2)
            return True
        return at - self._moved_at < p.flag_late_s
