"""Stop in time: what to tell the one who pours.

Strategy: the mass at rest if the cook stopped now is the forecast with the ingredient's own tail, and its spread comes
from the tail's, the filter's and the lumps'. Stop is said when that expected end has come into the band, on the side
that can still be corrected: below the target by as much as the spread asks for. Before that the flow is brought down,
where what remains could not be met from this one. A pour goes one way: freely, slowly, stop; what was said stands
until the weight is at rest, for a jug that is being turned back still flows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from scaled.weighing.tail import Tail
from scaled.weighing.values import Weight

Advice = Literal["pour freely", "slow", "a little, then wait", "stop"]

# Without a source: tuned on simulated pours, told against one who sees the digits only.
LEAN, LEAN_AT_MOST = 1.0, 0.3  # below the target: so many spreads, but not into the lowest third, which rests longer
SURE = 2.0  # spreads between the expected end and "over"
DIRECT = 3.0  # a flow of which so many spreads fit above the target is stopped from where it is
BEFORE = 1.8  # spreads between what is sure to come and the end when "slow" is said,
END_G_S, END_S = 10.0, 1.0  # and so long a slow flow: 1 to 10 g/s (figures for the simulator)
TURN_S = 0.5  # a jug told to slow down is not believed to be sooner than the tail less that
USUAL_RATE_U = 0.4  # of the flow: how well it is known in an even stream; what is worse makes the end less sure
TRICKLE_G_S = 1.0
LITTLE, SPOON_G = 2.0, 15.0  # widths of the band better met by a little and a wait; at most a spoon (assumed)
HEEDED_S, HEEDED = 1.5, 0.7  # when a jug must have begun to turn back, and to what share of the flow
FELL_U = 4.0  # a fall by so many uncertainties: it was no pour
STEADY = 0.5  # of the flow now: what a stream has brought at least since what was said before


@dataclass(frozen=True, slots=True)
class Said:
    """What was said last in a pour, and of which weight: `u_g` is what that leaves open, lumps included.

    `steady_s` is how long it has flowed since what was said before that: a spoon is no stream, and a flow that was just
    being slowed tells of no tail.
    """

    word: Advice
    at: float
    shown_mg: int
    estimate_g: float
    rate_g_s: float
    u_g: float
    steady_s: float = 0.0


def advised(weight: Weight, target_mg: float, band_mg: tuple[int, int], tail: Tail, said: Said | None = None) -> Said:
    """What to tell the cook now: `said` itself where that still stands.

    Args:
        weight: what the scale means now, gross.
        target_mg, band_mg: the target and its band as gross masses on the same scale.
        tail: what is known of this ingredient's after-flow.
        said: what was said before in this pour, None at its beginning.
    """
    word = advice(weight, target_mg, band_mg, tail, _under_way_s(said, weight, tail))
    if said is not None and _stands(said, word, weight):
        return said
    steady_s = 0.0 if said is None else weight.at - said.at
    if said is not None and weight.estimate_g - said.estimate_g < STEADY * weight.rate_g_s * steady_s:
        steady_s = 0.0
    u_g = math.hypot(weight.u_g, weight.lump_g)
    return Said(word, weight.at, weight.shown_mg, weight.estimate_g, weight.rate_g_s, u_g, steady_s)


def _stands(said: Said, word: Advice, weight: Weight) -> bool:
    if word == said.word:
        return True
    has_fallen = weight.estimate_g < said.estimate_g - FELL_U * said.u_g
    if has_fallen and weight.shown_mg < said.shown_mg:  # an estimate of the first results alone may be far too high
        return False
    if said.word == "slow":
        return word == "pour freely"
    if said.word != "stop":
        return False
    is_late = weight.at - said.at > HEEDED_S
    return not (is_late and weight.rate_g_s > HEEDED * said.rate_g_s)


def _under_way_s(said: Said | None, weight: Weight, tail: Tail) -> float:
    """For how much of the tail the jug has been on its way to a slow flow: a stop does not ask for that again."""
    if said is None or said.word != "slow":
        return 0.0
    since_s = weight.at - said.at
    return max(0.0, min(since_s, tail.seconds - TURN_S)) if since_s < tail.seconds else 0.0


def advice(weight: Weight, target_mg: float, band_mg: tuple[int, int], tail: Tail, under_way_s: float = 0.0) -> Advice:
    """What this weight alone asks for, `under_way_s` after "slow" was said; the rest as in `advised`."""
    low_g, high_g, target_g = band_mg[0] / 1000, band_mg[1] / 1000, target_mg / 1000
    rate = max(0.0, weight.rate_g_s)
    expected_g = weight.estimate_g + rate * tail.seconds - max(0.0, rate - END_G_S / 2) * under_way_s
    by_flow_g = math.sqrt(max(0.0, weight.rate_u_g_s**2 - (USUAL_RATE_U * rate) ** 2)) * tail.seconds
    spread_g = math.hypot(rate * tail.sd_s, by_flow_g, weight.u_g, weight.lump_g if rate else 0.0)
    aim_g = aim(low_g, target_g, high_g, spread_g)
    if weight.estimate_g >= low_g or expected_g >= aim_g:
        return "stop"
    if rate < TRICKLE_G_S and target_g - weight.estimate_g <= min(LITTLE * (high_g - low_g), SPOON_G):
        return "a little, then wait"
    if rate <= TRICKLE_G_S or DIRECT * spread_g <= high_g - target_g:
        return "pour freely"
    return "slow" if aim_g - expected_g <= BEFORE * spread_g + END_S * min(rate, END_G_S) else "pour freely"


def aim(low_g: float, target_g: float, high_g: float, spread_g: float) -> float:
    """The expected end to stop at: below the target, never so near to "over" that the spread reaches it."""
    leaning_g = target_g - min(LEAN * spread_g, LEAN_AT_MOST * (target_g - low_g))
    return max(low_g, min(leaning_g, high_g - SURE * spread_g))
