"""Many random cases, each named by a seed and a number, and what is wrong with them.

Run as a script a comparison stops at its first disagreement: `python correction_highs.py CASES SEED`.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable, Iterable

Look = Callable[[str, Counter[str]], Iterable[str]]


def compare(wrong_in: Look, cases: int, seed: str, *, is_first_enough: bool = False) -> tuple[list[str], Counter[str]]:
    """All that is wrong over random cases (or the first), and how many of each kind were seen."""
    wrong: list[str] = []
    seen: Counter[str] = Counter()
    for i in range(cases):
        if wrong and is_first_enough:
            break
        wrong += [f"case {seed}-{i}: {what}" for what in wrong_in(f"{seed}-{i}", seen)]
    return wrong, seen


def run(wrong_in: Look) -> int:
    """As a script: prints what it found, and ends with 1 where that is anything."""
    found, kinds = compare(wrong_in, int(sys.argv[1]), sys.argv[2], is_first_enough=True)
    print(*found, sep="\n")
    print(dict(kinds))
    return bool(found)
