"""Pedal and buttons: edges come in from the pins' thread, wishes of the cook go out.

`heard` only stores the edge. `work` does the rest on the thread of the board: it puts the edges through the state
machines of `pedal` and hands a `Wanted` to `on_wish`. Its `at` is when the foot came down, since a tap is certain
only later: the bench takes it for the step that was shown then, not for the next one.

A short press goes on (next, yes), a double one repeats what was said, a long one goes back, or resumes what is held.
"""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable

from scaled.batch.inputs import Wanted, Wish
from scaled.cues.pedal import Button, Pedal, Switch, Tap
from scaled.cues.settings import CueSettings

log = logging.getLogger(__name__)

MOST_EDGES = 4096  # kept for the board's thread; of a contact that chatters without end the oldest go
DOUBT_S = 0.05
HELD_BUTTONS: tuple[Wish, ...] = ("abort", "close stage", "start again")  # too much for a slip: held for 0.8 s


class Contacts:
    """All contacts of a bench.

    Args:
        settings: which there are.
        on_wish: called on the board's thread; it must only enqueue.
        is_held: whether the batch is held, as the newest cue has it.
    """

    def __init__(self, settings: CueSettings, on_wish: Callable[[Wanted], None], is_held: Callable[[], bool]) -> None:
        self._on_wish = on_wish
        self._is_held = is_held
        self._edges: deque[tuple[str, bool, float]] = deque(maxlen=MOST_EDGES)
        self._wishes = {f"button {wish}": wish for wish, _ in settings.buttons}
        self._names = [name for name, _ in settings.wired() if name == "pedal" or name in self._wishes]
        self._switches: dict[str, Switch] = {}
        self._doubts: dict[str, float] = {}

    def begin(self, is_closed: Callable[[str], bool]) -> None:
        """Start anew, from what each contact is now: one that is closed already must open first."""
        self._edges.clear()
        self._doubts.clear()
        self._switches = {name: self._switch(name, is_closed=is_closed(name)) for name in self._names}

    def heard(self, name: str, is_closed: bool, at: float) -> None:  # noqa: FBT001
        """An edge; called from any thread, returns at once."""
        self._edges.append((name, is_closed, at))

    def work(self, at: float, is_closed: Callable[[str], bool]) -> float | None:
        """Work off what was heard and what is due by `at`; returns when something is due next.

        `is_closed` tells a contact's state now. It is asked before time alone decides anything, since an edge can
        get lost where a kernel's queue runs over.
        """
        while self._edges:
            name, closed, edge_at = self._edges.popleft()
            self._tell(name, self._switches[name].edge(is_closed=closed, at=edge_at))
        for name, switch in self._switches.items():
            if not self._is_doubtful(name, switch, at, is_closed):
                self._tell(name, switch.advance(at))
        dues = (self._due(name, switch) for name, switch in self._switches.items())
        return min((due for due in dues if due is not None), default=None)

    def _due(self, name: str, switch: Switch) -> float | None:
        return self._doubts[name] + DOUBT_S if name in self._doubts else switch.due

    def _is_doubtful(self, name: str, switch: Switch, at: float, is_closed: Callable[[str], bool]) -> bool:
        """Whether a decision must wait, since the contact is not what its edges say.

        The edge may be on its way; if it has not come after `DOUBT_S` it is lost, and put where it changes least: at
        the last one, so that a lost opening never makes a long press.
        """
        if switch.due is None or switch.due > at or switch.is_closed == is_closed(name):
            self._doubts.pop(name, None)
            return False
        if at - self._doubts.setdefault(name, at) < DOUBT_S:
            return True
        log.info("%s: an edge got lost", name)
        del self._doubts[name]
        self._tell(name, switch.edge(is_closed=not switch.is_closed, at=float("-inf")))
        return False

    def _switch(self, name: str, *, is_closed: bool) -> Switch:
        if name == "pedal":
            return Pedal(is_closed=is_closed)
        return Button(is_held=self._wishes[name] in HELD_BUTTONS, is_closed=is_closed)

    def _tell(self, name: str, taps: list[Tap]) -> None:
        for tap in taps:
            self._on_wish(Wanted(tap.at, self._wishes[name] if name in self._wishes else self._pedal_wish(tap)))

    def _pedal_wish(self, tap: Tap) -> Wish:
        if tap.kind == "long":
            return "resume" if self._is_held() else "back"
        return "next" if tap.kind == "short" else "repeat"
