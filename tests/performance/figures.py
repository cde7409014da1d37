"""One row of the performance table: a figure of ours beside its floor, measured in the same run.

A benchmark is a module `bench_<subject>.py` in this folder with one function, `rows(size)`, that yields `Row`s.
Speed is a ratio to a floor on the same machine in the same minute, so a slow or busy machine changes both. A row only
fails where its ratio is more than twice its budget; anything between is printed as "over" for a person to look at.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from statistics import median
from typing import Literal

Size = Literal["small", "full"]
Verdict = Literal["ok", "over", "FAIL", "-"]

SLACK = 2.0  # a ratio may be off by this much before it fails: the machine is shared, the budget is not a clock


@dataclass(frozen=True)
class Row:
    """One line of the table.

    `figure` and `floor` are in `unit`; `floor_is` says in a few words what the floor does. `ratio_at_most` is the
    budget on figure / floor (a rival that we must beat ten times: 0.1), `figure_at_most` the budget on the figure.
    A budget on the figure alone is printed and never fails; give a floor and a ratio where it must be held.
    """

    what: str
    figure: float
    unit: str
    floor: float | None = None
    floor_is: str = ""
    ratio_at_most: float | None = None
    figure_at_most: float | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if not self.what or not self.unit:
            raise ValueError("a row needs a name and a unit")
        if self.floor is not None and (self.floor <= 0 or not self.floor_is):
            raise ValueError(f"{self.what}: a floor is above 0 and says what it is")
        if self.ratio_at_most is not None and self.floor is None:
            raise ValueError(f"{self.what}: a ratio needs a floor")

    @property
    def ratio(self) -> float | None:
        return None if self.floor is None else self.figure / self.floor

    @property
    def verdict(self) -> Verdict:
        """`FAIL` where the ratio is more than twice its budget, `over` where a budget is missed by less."""
        if self.ratio is not None and self.ratio_at_most is not None:
            if self.ratio > SLACK * self.ratio_at_most:
                return "FAIL"
            if self.ratio > self.ratio_at_most:
                return "over"
        if self.figure_at_most is not None and self.figure > self.figure_at_most:
            return "over"
        return "-" if self.ratio_at_most is None and self.figure_at_most is None else "ok"


def median_s(work: Callable[[], object], *, repeats: int) -> float:
    """Seconds of one call of `work`: the median of `repeats` calls, after one that warms up."""
    work()
    taken: list[float] = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return median(taken)
