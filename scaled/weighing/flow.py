"""How much is on the plate and how fast it grows, seen through the scale's own lag.

A scale follows a load m by x'' = w^2 (m - x) - 2 z w x'. Strategy: a Kalman filter of four states, the load m, the flow
r = m', what the scale shows x, and how fast that changes v, fed with each new result. Since it knows the lag it tells
a load that was set down (x still climbs, but nothing flows) from a stream, and sees at once when a stream is slowed.
What surprises it is first taken for a lump, and for a change of flow where it goes on the same way. How large the
lumps of a stream are follows from the squares of its misses: each lump makes one that is larger than the noise.

The figures without a source are tuned on simulated pours of 10 to 40 g/s on scales of all kinds.
"""

from __future__ import annotations

import math

from scaled.weighing.response import Kind
from scaled.weighing.rest import RestDetector
from scaled.weighing.updates import Updates

USUAL = (12.0, 0.8)  # rad/s and damping until the scale has shown its own: the middle of what is known of scales
START_GAP_S = 0.1
START_FLOW_G_S = 15.0  # the standard deviation of a flow that begins,
START_LUMP_G = 1.0  # and of what drops in with it
CHANGE = 3.0  # (g/s)^2 a second: how much a trickle changes
WOBBLE, WOBBLE_S = 0.35, 0.3  # the share by which a flow changes within that time
LEAST_LUMP_G = 0.2  # smoother is hardly anything
LARGEST_LUMP_G = 20.0  # what one result may teach
LUMPS_S, LUMPS_NOISE = 2.0, 2.0  # over which the lumps are learned, beyond so many times the variance of a result
SURPRISE, SURPRISE_MOST = 25.0, 100.0  # the square of a miss over its variance: of a lump, and how far it is followed
WILD, WILD_G = 36.0, 12.0  # so far out one result is left out, and a second begins anew (the largest lump: 8.4 g)
MOST_G_S = 20.0  # by which a flow changes from one result to the next
LEAST_STREAM_G_S, STREAM_S = 1.0, 0.5  # a slower one tells nothing of its lumps, nor what may be something set down
MOST_G_S_SHOWN = 60.0  # the fastest that is poured
LATE = 0.15  # of the time between two results: how well is known when a result was made
SAME_STEP = 0.02  # closer than that a step swings as the last one did


class Flow:
    """The load, the flow and the lumps after the newest result.

    `level_g` is what the scale shows of that load in a steady flow, noise and swinging left out: the load less the flow
    times the scale's lag. `u_g` is its standard uncertainty. `lump_g` is the size of the lumps of the stream, about 0
    if it is smooth: the mean square over the mean, which is what one lump more or less leaves open.
    """

    def __init__(self) -> None:
        self._solved = (0.0, 0.0, 0.0)
        self._abcd = (0.0, 0.0, 0.0, 0.0)
        self._lag_s = 2 * USUAL[1] / USUAL[0]
        self._gap_s, self._is_each_new = START_GAP_S, False
        self.lump_g = 0.0
        self.forget()

    def forget(self) -> None:
        """Nothing is known of the load any more; what was learned of the scale is kept."""
        self._at: float | None = None
        self._stand(0.0)

    def _stand(self, level_g: float) -> None:
        self._state = (level_g, 0.0, level_g, 0.0)
        self._shown_g = level_g
        self._p: tuple[float, ...] | None = None
        self._suspect: float | None = None
        self._surprised = self._lasted_s = 0.0
        self._is_stream = True

    @property
    def rate_g_s(self) -> float:
        return self._state[1]

    @property
    def level_g(self) -> float:
        return self._state[0] - self._state[1] * self._lag_s

    @property
    def u_g(self) -> float:
        late = LATE * self._gap_s * self._state[1]
        if self._p is None:
            return 0.0
        mm, mr, _, _, rr, *_ = self._p
        lag = self._lag_s
        return math.sqrt(max(0.0, mm - 2 * lag * mr + lag * lag * rr) + late * late)

    @property
    def rate_u_g_s(self) -> float:
        """The standard uncertainty of the flow, that of what a hand does with it included."""
        return 0.0 if self._p is None else math.sqrt(self._p[4])

    def follow(self, at: float, value_g: float, sigma_g: float, updates: Updates, detector: RestDetector) -> None:
        """Take the next result, of standard deviation `sigma_g`, as the detector sees it: of a rest or of a change."""
        self._gap_s, self._is_each_new = updates.interval_s, updates.repeats <= 1
        if detector.plateau is not None:
            self._at = at
            self._stand(detector.plateau.mass / 1000)
            return
        response = detector.response
        self.see(at, value_g, sigma_g, response.best if response.seen else None)

    def see(self, at: float, value_g: float, sigma_g: float, kind: Kind | None = None) -> None:
        """Take the next result of a load that changes; `kind` is the scale's response, None while it is not known."""
        if self._at is None:
            self._stand(value_g)
        if self._p is None:
            load_variance = START_LUMP_G**2 + self.lump_g**2 + 9 * sigma_g**2
            self._p = _diagonal(load_variance, START_FLOW_G_S**2, sigma_g**2 / 4, 0.0)
        step_s = 0.0 if self._at is None else max(1e-3, at - self._at)
        self._at = at
        if step_s:
            self._solve(step_s, kind)
            self._foresee(step_s)
            self._compare(step_s, value_g, sigma_g)

    def _solve(self, step_s: float, kind: Kind | None) -> None:
        """How what is shown swings towards a steady flow in one step: the equation of motion in closed form."""
        w, z = USUAL if kind is None else (kind.frequency, kind.damping)
        if self._solved[:2] == (w, z) and abs(step_s - self._solved[2]) < SAME_STEP * step_s:
            return
        self._solved = (w, z, step_s)
        self._lag_s = 2 * z / w
        decay = math.exp(-z * w * step_s)
        turn = w * math.sqrt(max(1e-6, 1 - z * z))
        sine, cosine = math.sin(turn * step_s) / turn, math.cos(turn * step_s)
        self._abcd = (
            decay * (cosine + z * w * sine),
            decay * sine,
            -decay * w * w * sine,
            decay * (cosine - z * w * sine),
        )

    def _foresee(self, t: float) -> None:
        """State and covariance one step later; the flow wobbles, and lumps come in."""
        m, r, x, v = self._state
        a, b, c, d = self._abcd
        f1, f2, g1, g2 = self._load_to_shown(t)
        self._state = (m + t * r, r, f1 * m + f2 * r + a * x + b * v, g1 * m + g2 * r + c * x + d * v)
        mm, mr, mx, mv, rr, rx, rv, xx, xv, vv = self._p or _diagonal(0, 0, 0, 0)
        rr += t * (CHANGE + (WOBBLE * r) ** 2 * 2 / WOBBLE_S)
        mm += t * (self.lump_g + LEAST_LUMP_G) * abs(r)
        hm, hr = mm + t * mr, mr + t * rr
        xm, xr = f1 * mm + f2 * mr + a * mx + b * mv, f1 * mr + f2 * rr + a * rx + b * rv
        xs, xw = f1 * mx + f2 * rx + a * xx + b * xv, f1 * mv + f2 * rv + a * xv + b * vv
        vm, vr = g1 * mm + g2 * mr + c * mx + d * mv, g1 * mr + g2 * rr + c * rx + d * rv
        vs, vw = g1 * mx + g2 * rx + c * xx + d * xv, g1 * mv + g2 * rv + c * xv + d * vv
        self._p = (
            hm + t * hr, hr, xm + t * xr, vm + t * vr, rr, xr, vr,
            f1 * xm + f2 * xr + a * xs + b * xw,
            g1 * xm + g2 * xr + c * xs + d * xw,
            g1 * vm + g2 * vr + c * vs + d * vw,
        )  # fmt: skip

    def _load_to_shown(self, t: float) -> tuple[float, float, float, float]:
        """What load and flow add to the value shown and to its speed in one step."""
        a, b, c, d = self._abcd
        return 1 - a, t - self._lag_s + a * self._lag_s - b, -c, 1 + c * self._lag_s - d

    def _compare(self, t: float, value: float, sigma: float) -> None:
        miss = value - self._state[2]
        late = self._late(t, value)
        noise = sigma * sigma + late * late
        room = self._shown_variance + noise
        excess = miss * miss - room
        if miss * miss > SURPRISE * room:
            if miss * miss > max(WILD * room, WILD_G * WILD_G):
                self._doubt(t, value, sigma)
                return
            self._give(t, miss, min(excess, SURPRISE_MOST * room))
        else:
            self._surprised = 0.0
        self._suspect = None
        share = self._correct(miss, noise)
        rate = self._state[1]
        self._lasted_s += t
        if self._is_stream and rate > LEAST_STREAM_G_S and self._lasted_s > STREAM_S:
            lump_g = share * share * (miss * miss - LUMPS_NOISE * noise) / (rate * t)
            self.lump_g += min(1.0, t / LUMPS_S) * (max(0.0, min(lump_g, LARGEST_LUMP_G)) - self.lump_g)

    def _late(self, t: float, value: float) -> float:
        """What a result may be off by because it is not known when it was made.

        Where each line brings a new one the line may be slower than the scale, and their beat looks like a swing: then
        what is shown tells better than a flow that may have been lost by it.
        """
        step = self._gap_s * abs(self._state[1])
        if self._is_each_new:
            step = max(step, min(abs(value - self._shown_g), MOST_G_S_SHOWN * t))
        self._shown_g = value
        return LATE * step

    @property
    def _shown_variance(self) -> float:
        return 0.0 if self._p is None else self._p[7]

    def _correct(self, miss: float, noise: float) -> float:
        """The usual update by the miss; returns the share of it that the load takes."""
        m, r, x, v = self._state
        mm, mr, mx, mv, rr, rx, rv, xx, xv, vv = self._p or _diagonal(0, 0, 0, 0)
        room = xx + noise
        km, kr, kx, kv = mx / room, rx / room, xx / room, xv / room
        self._state = (m + km * miss, r + kr * miss, x + kx * miss, v + kv * miss)
        self._p = (
            mm - km * mx, mr - km * rx, mx - km * xx, mv - km * xv, rr - kr * rx,
            rx - kr * xx, rv - kr * xv, xx - kx * xx, xv - kx * xv, vv - kv * xv,
        )  # fmt: skip
        return km

    def _give(self, t: float, miss: float, room: float) -> None:
        """Let the load, or where it goes on the same way the flow, have changed by so much that the miss is usual."""
        f1, f2, g1, g2 = self._load_to_shown(t)
        is_flow = miss * self._surprised > 0
        jm, jr, jx, jv = (t, 1.0, f2, g2) if is_flow else (1.0, 0.0, f1, g1)
        self._surprised = miss
        k = min(room / max(jx * jx, 1e-4), MOST_G_S**2 if is_flow else WILD_G**2)
        mm, mr, mx, mv, rr, rx, rv, xx, xv, vv = self._p or _diagonal(0, 0, 0, 0)
        self._p = (
            mm + k * jm * jm, mr + k * jm * jr, mx + k * jm * jx, mv + k * jm * jv, rr + k * jr * jr,
            rx + k * jr * jx, rv + k * jr * jv, xx + k * jx * jx, xv + k * jx * jv, vv + k * jv * jv,
        )  # fmt: skip

    def _doubt(self, t: float, value: float, sigma: float) -> None:
        """Something set down or lifted: the filter begins anew from the second result that says so."""
        if self._suspect is None:
            self._suspect = value
            return
        speed = (value - self._suspect) / t
        self._stand(value)
        self._is_stream = False
        self._state = (value, 0.0, value, speed)
        self._p = _diagonal((0.3 * speed) ** 2 + sigma**2, START_FLOW_G_S**2, sigma**2, (0.5 * speed) ** 2)


def _diagonal(mm: float, rr: float, xx: float, vv: float) -> tuple[float, ...]:
    """A covariance of these variances of load, flow, value shown and its speed."""
    return (mm, 0.0, 0.0, 0.0, rr, 0.0, 0.0, xx, 0.0, vv + 1e-6)


def forecast(estimate_g: float, rate_g_s: float, tail_s: float) -> float:
    """The mass at rest if the cook stopped now: `tail_s` of the flow still arrive, material in the air and the scale's
    lag together."""
    return estimate_g + max(0.0, rate_g_s) * tail_s
