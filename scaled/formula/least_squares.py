"""Bounded least squares for a few equations in some unknowns, in plain Python.

Minimises |A x - b|^2 + d^2 |x|^2 with low <= x <= high by an active set: some unknowns are held at a bound, the others
go where they would; one that would leave its box is held there, one that is held and would rather come back is freed.
The damping d makes the problem strictly convex, so that there is one answer and the method ends at it.

With m equations and the n unknowns that are free the answer is x = A'y / d^2 where (I + A A' / d^2) y = b less what is
held: a system of m, not of n. Its y is what remains of the equations, b - A x, and gives the slopes for those held.
"""

from __future__ import annotations

from collections.abc import Sequence

Column = Sequence[float]


def bounded(
    columns: Sequence[Column], right: Column, damping: float, low: Sequence[float], high: Sequence[float]
) -> list[float]:
    """The x that minimises |A x - right|^2 + damping^2 |x|^2 within its bounds.

    Args:
        columns: A by its columns, n of m values.
        right: b, m values.
        damping: d, above 0.
        low: the least that each x may be, n values.
        high: the most, n values, none below `low`.
    """
    if damping <= 0 or any(lo > hi for lo, hi in zip(low, high, strict=True)):
        raise ValueError("bounded least squares need a damping above 0 and bounds in their order")
    weight = 1 / damping**2
    x = [min(max(0.0, lo), hi) for lo, hi in zip(low, high, strict=True)]
    held: dict[int, int] = {}  # -1 at the lower bound, 1 at the upper one
    for _ in range(20 * (len(columns) + 1)):
        free = [i for i in range(len(columns)) if i not in held]
        remains = _remains(columns, right, weight, x, free, held)
        goals = [weight * sum([a * y for a, y in zip(columns[i], remains, strict=True)]) for i in free]
        step, stopper, side = _step(x, goals, free, low, high)
        for i, goal in zip(free, goals, strict=True):
            x[i] += step * (goal - x[i])
        if stopper is not None:
            x[stopper] = low[stopper] if side < 0 else high[stopper]
            held[stopper] = side
            continue
        back = _most_unwilling(columns, remains, weight, x, held)
        if back is None:
            break
        del held[back]
    return x


def _remains(
    columns: Sequence[Column], right: Column, weight: float, x: list[float], free: list[int], held: dict[int, int]
) -> list[float]:
    """What remains of the equations once the free unknowns are where they would go."""
    size = range(len(right))
    chosen = [columns[i] for i in free]
    system = [[float(i == j) + weight * sum([c[i] * c[j] for c in chosen]) for j in size] for i in size]
    for i in size:
        system[i].append(right[i] - sum([columns[k][i] * x[k] for k in held]))
    return _solved(system)


def _solved(system: list[list[float]]) -> list[float]:
    """Gauss elimination of a positive definite system of n rows, its right side the last value of each row."""
    size = len(system)
    for i, pivot in enumerate(system):
        for below in system[i + 1 :]:
            share = below[i] / pivot[i]
            for j in range(i, size + 1):
                below[j] -= share * pivot[j]
    found = [0.0] * size
    for i in reversed(range(size)):
        rest = sum([system[i][j] * found[j] for j in range(i + 1, size)])
        found[i] = (system[i][size] - rest) / system[i][i]
    return found


def _step(
    x: list[float], goals: list[float], free: list[int], low: Sequence[float], high: Sequence[float]
) -> tuple[float, int | None, int]:
    """How far towards their goals all may go, at most 1, which of them stops there and at which bound."""
    step, stopper, side = 1.0, None, 0
    for i, goal in zip(free, goals, strict=True):
        if low[i] <= goal <= high[i]:
            continue
        bound = low[i] if goal < low[i] else high[i]
        share = (bound - x[i]) / (goal - x[i])
        if share < step:
            step, stopper, side = share, i, -1 if goal < low[i] else 1
    return step, stopper, side


def _most_unwilling(
    columns: Sequence[Column], remains: list[float], weight: float, x: list[float], held: dict[int, int]
) -> int | None:
    """Of those held at a bound the one that would come back furthest; None where all are where they should be."""
    worst, most = None, 1e-12
    for i, side in held.items():
        goal = weight * sum([a * y for a, y in zip(columns[i], remains, strict=True)])
        back = side * (x[i] - goal)
        if back > most * (1 + abs(goal)):
            worst, most = i, back / (1 + abs(goal))
    return worst
