"""The filter of one scale: each reading in, what it means out.

Strategy: repeats are told from new results, the division and the noise are learned, and then three small parts look
at the new results: is it at rest, how fast does it flow, what happened. No clock and no I/O: the same readings give
the same weights.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scaled.weighing.division import Division
from scaled.weighing.flow import Flow, forecast
from scaled.weighing.keys import Keys
from scaled.weighing.rest import RestDetector
from scaled.weighing.story import Story
from scaled.weighing.tail import START, Tail
from scaled.weighing.updates import Updates
from scaled.weighing.values import Happening, Reading, Rest, Weight

ROUNDED = 12**-0.5  # of a division: the standard deviation of a rounding (JCGM 100:2008, 4.3.7)


@dataclass(frozen=True, slots=True)
class WeigherSettings:
    """What is known of the scale beforehand; None is learned while it runs."""

    division_mg: int | None = None
    interval_s: float | None = None
    tail: Tail = START

    def __post_init__(self) -> None:
        if self.division_mg is not None and self.division_mg <= 0:
            raise ValueError(f"a division of {self.division_mg} mg cannot be")
        if self.interval_s is not None and not 0.005 <= self.interval_s <= 5:
            raise ValueError(f"an update interval of {self.interval_s} s cannot be")


class Weigher:
    """One for each scale; `see` takes its readings in order of time."""

    def __init__(self, settings: WeigherSettings | None = None) -> None:
        self._settings = settings or WeigherSettings()
        self._division = Division(self._settings.division_mg)
        self._updates = Updates(self._settings.interval_s)
        self._detector = RestDetector()
        self._keys = Keys()
        self._flow = Flow()
        self.lost()

    def lost(self) -> None:
        """Forget what was going on: the line was silent, and anything may have happened meanwhile.

        What was learned of the scale itself is kept.
        """
        self._updates.forget()
        self._detector.forget()
        self._flow.forget()
        self._story = Story(self._detector.response, self._keys)
        self._last = Weight(0.0, 0, 0.0, 0.0, 0.0, 0.0, None, (), "ready", self._division.mg)

    def close(self) -> tuple[Happening, ...]:
        """No reading follows: what is still to be told of the last change."""
        return self._story.close()

    def see(self, reading: Reading) -> Weight:
        """What this reading means, together with all before it."""
        self._last = self._shown(reading) if reading.value_mg is not None else self._without_value(reading)
        return self._last

    def _without_value(self, reading: Reading) -> Weight:
        last = self._last
        self._detector.leave()
        self._flow.forget()
        return Weight(
            reading.at,
            last.shown_mg,
            last.estimate_g,
            last.u_g,
            0.0,
            last.estimate_g,
            None,
            (),
            reading.state,
            last.division_mg,
        )

    def _shown(self, reading: Reading) -> Weight:
        value = reading.value_mg or 0
        before = self._division.mg
        self._division.see(value, reading.shown_division_mg)
        division = self._division.mg
        if division != before:
            self._detector.noise.rescale(before / division)
        happened: tuple[Happening, ...] = ()
        if self._updates.is_new(reading.at, value, division):
            self._detector.see(reading.at, float(value), division, self._updates.interval_s)
            sigma = self._detector.noise.sigma_d * division
            self._flow.follow(reading.at, value / 1000, sigma / 1000, self._updates, self._detector)
            held = self._detector.held
            happened = self._story.see(reading.at, float(value), held, division, sigma, is_net=reading.is_net)
        rest = self._rest()
        if rest is not None:
            estimate_g, u_g, rate_g_s = rest.mass_mg / 1000, rest.u_mg / 1000, 0.0
            forecast_g = estimate_g
        else:
            estimate_g, rate_g_s = self._flow.level_g, self._flow.rate_g_s
            u_g = math.hypot(self._flow.u_g, ROUNDED * division / 1000)
            forecast_g = forecast(estimate_g, rate_g_s, self._settings.tail.seconds)
        return Weight(
            reading.at,
            value,
            estimate_g,
            u_g,
            rate_g_s,
            forecast_g,
            rest,
            happened,
            reading.state,
            division,
            self._flow.lump_g,
            self._flow.rate_u_g_s,
            rest is None and self._detector.restless.is_restless,
        )

    def _rest(self) -> Rest | None:
        plateau = self._detector.plateau
        if plateau is None:
            return None
        return Rest(round(plateau.mass), plateau.u, plateau.since, plateau.known_at, plateau.stood)
