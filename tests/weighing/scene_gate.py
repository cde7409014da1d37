"""Gates that a chance cannot fail and a bad weigher cannot pass.

Every limit is a share: of scenes with a wrong call, of additions that took longer than a time. The scenes are
independent of each other and the additions of one scene are not (they share a scale), so a gate counts scenes, or one
addition of each. A gate fails where a weigher just at its limit would do so badly once in ten thousand runs, by the
exact binomial distribution; so it may be run on other scenes each time.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scene_draw import ADDITIONS
from scene_score import Outcome

RISK = 1e-4
A_SCENE = ADDITIONS + 1


def above(count: int, of: int, share: float) -> float:
    """The probability that more than `count` of so many are hit, each by `share`: the binomial's upper tail."""
    if share <= 0:
        return 0.0
    terms = (
        math.exp(
            math.lgamma(of + 1) - math.lgamma(k + 1) - math.lgamma(of - k + 1)
            + k * math.log(share) + (of - k) * math.log1p(-share)
        )
        for k in range(count + 1, of + 1)
    )  # fmt: skip
    return math.fsum(terms)


def most(of: int, share: float) -> int:
    """How many of so many may be hit before it is no chance any more."""
    return next(count for count in range(of + 1) if above(count, of, share) <= RISK)


@dataclass(frozen=True)
class Gate:
    """So many of so many were found; `held` is the share that must not be exceeded, `wanted` what is asked for."""

    name: str
    found: int
    of: int
    held: float
    wanted: float

    @property
    def is_passed(self) -> bool:
        return self.found <= most(self.of, self.held)

    def __str__(self) -> str:
        short = "" if self.held <= self.wanted else f", NOT REACHED: {self.wanted:.4%} is wanted"
        return f"  {self.name}: {self.found} of {self.of} ({self.found / self.of:.3%}), held {self.held:.4%}{short}"


@dataclass(frozen=True)
class Held:
    """What a weigher is held to: shares of additions, seconds for half of them and for 95 %."""

    wrong: float
    in_a_pause: float
    settled_s: tuple[float, float]
    fast_s: tuple[float, float]
    finished_s: tuple[float, float]
    covered: tuple[float, float]


def gates(found: Sequence[Sequence[Outcome]], held: Held, wanted: Held) -> list[Gate]:
    """The gates of one weigher; `found` has the outcomes of each scene."""
    scenes = len(found)
    one_each = [outcomes[outcomes[0].seed % len(outcomes)] for outcomes in found]
    fast = [o for o in one_each if o.is_fast]
    errors = [o.errors_u[o.seed % len(o.errors_u)] for o in one_each if o.errors_u]
    wrong = sum(any(o.wrong for o in outcomes) for outcomes in found)
    early = sum(any(o.in_a_pause_at is not None for o in outcomes) for outcomes in found)
    made = [
        _of_scenes("a settled weight is wrong", wrong, scenes, held.wrong, wanted.wrong),
        _of_scenes("an addition ended in a pause", early, scenes, held.in_a_pause, wanted.in_a_pause),
    ]
    for name, seconds, times, asked in (
        ("settled", [o.settled_s for o in one_each], held.settled_s, wanted.settled_s),
        ("settled on a fast scale", [o.settled_s for o in fast], held.fast_s, wanted.fast_s),
        ("finished", [o.finished_s for o in one_each if o.may_finish], held.finished_s, wanted.finished_s),
    ):
        for share, most_s, asked_s in ((0.5, times[0], asked[0]), (0.05, times[1], asked[1])):
            late = sum(s is None or s > most_s for s in seconds)
            name_s = f"{name} later than {most_s} s" + (f" (NOT REACHED: {asked_s} s)" if most_s > asked_s else "")
            made.append(Gate(name_s, late, len(seconds), share, share))
    outside = sum(abs(e) > 2 for e in errors)
    made.append(Gate("outside 2 u", outside, len(errors), 1 - held.covered[0], 1 - wanted.covered[0]))
    made.append(Gate("inside 2 u", len(errors) - outside, len(errors), held.covered[1], wanted.covered[1]))
    return made


def _of_scenes(name: str, found: int, scenes: int, held: float, wanted: float) -> Gate:
    """A share of additions as one of scenes."""
    return Gate(f"scenes in which {name}", found, scenes, 1 - (1 - held) ** A_SCENE, 1 - (1 - wanted) ** A_SCENE)


def quantile(values: Sequence[float], share: float) -> float:
    """The value that a share of them does not exceed."""
    return sorted(values)[min(len(values) - 1, int(share * len(values)))] if values else math.nan


def figures(name: str, found: Sequence[Sequence[Outcome]]) -> str:
    """What came of all additions, in a few lines."""
    every = [o for outcomes in found for o in outcomes]
    n = len(every)
    errors = [abs(e) for o in every for e in o.errors_u]
    lines = [
        f"{name}: {len(found)} scenes, {n} additions, {sum(o.calls for o in every)} times at rest",
        f"  per 10,000 additions: wrong {_per(sum(bool(o.wrong) for o in every), n)}, ended in a pause "
        f"{_per(sum(o.in_a_pause_at is not None for o in every), n)}; beside it, change not seen yet when settled "
        f"{_per(sum(o.unseen for o in every), n)}, when finished {_per(sum(o.overtaken for o in every), n)}; "
        f"never finished {_per(sum(o.finished_s is None and o.may_finish for o in every), n)}",
    ]
    for what, seconds in (
        ("settled", [o.settled_s for o in every if o.settled_s is not None]),
        ("settled, fast scales", [o.settled_s for o in every if o.is_fast and o.settled_s is not None]),
        ("finished", [o.finished_s for o in every if o.finished_s is not None]),
    ):
        lines.append(f"  {what}: median {quantile(seconds, 0.5):.3f} s, 95 % {quantile(seconds, 0.95):.3f} s")
    if errors:
        lines.append(f"  2 u covers {sum(e <= 2 for e in errors) / len(errors):.2%}")
    return "\n".join(lines)


def _per(count: int, of: int) -> str:
    return f"{count / of * 10_000:.1f}"
