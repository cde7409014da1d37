"""What is pinned up for page, lights and cooks, and when: each new word at once, new digits twenty times a second.

Remembers since when something has been shown, which is what an answer is held against: an offer that was chosen on an
older page, or a foot that came down before its question could be seen, means nothing.
"""

from __future__ import annotations

from dataclasses import replace

from scaled.batch.batch import Batch
from scaled.batch.snapshot import Snapshot
from scaled.batch.view import snapshot_of
from scaled.board import SnapshotBoard
from scaled.clock import Clock
from scaled.daemon.machine import Machine

LEAST_GAP_S = 0.05  # between two Snapshots that are for the digits' sake
LONGEST_GAP_S = 1.0  # a viewer greys a number that is not renewed
SEQ_A_SECOND = 100  # more than are ever published


class Showing:
    """The board with the newest Snapshot. `step_shown_at` is since when the step now open is shown; `scale` its name.

    `seq` begins where the wall clock stands, so that it goes on growing when the daemon is started anew, and a page
    that was open meanwhile cannot answer with an old number.
    """

    def __init__(self, clock: Clock, machine: Machine, scale: str | None) -> None:
        self._clock, self._machine, self.scale = clock, machine, scale
        self.step_shown_at = self._published_at = self._digits_at = clock.monotonic()
        self._step: tuple[object, ...] = ()
        self._question: tuple[float, int] | None = None
        self._doubted_at: float | None = None
        self._is_late = False
        self._words: tuple[object, ...] = ()
        self.board = SnapshotBoard(self._made(round(clock.wall().timestamp() * SEQ_A_SECOND)))
        self._note(self.board.latest())

    def due_at(self) -> float:
        """When the next Snapshot is due if nothing happens."""
        return self._digits_at + LEAST_GAP_S if self._is_late else self._published_at + LONGEST_GAP_S

    def publish(self, at: float, *, is_asked: bool = False) -> Snapshot | None:
        """Pin up what the machine may show, where there is something new to see or `is_asked`; else None."""
        last = self.board.latest()
        made = self._made(last.seq + 1, last.wall)
        words = _words(made)
        has_new_digits = (made.weight, made.addition) != (last.weight, last.addition)
        is_digits_turn = has_new_digits and at - self._digits_at >= LEAST_GAP_S
        is_due = is_digits_turn or at - self._published_at >= LONGEST_GAP_S
        if not (is_asked or is_due or words != self._words):
            self._is_late = has_new_digits
            return None
        if is_digits_turn:  # a word that came in between does not hold the next digits up
            self._digits_at = at
        made = replace(made, wall=self._clock.wall_iso())
        self.board.publish(made)
        self._published_at, self._is_late, self._words = at, False, words
        self._note(made)
        return made

    def has_shown(self, batch: Batch | None) -> bool:
        """Whether what this batch asks, if anything, is what is shown."""
        if batch is not None and batch.doubted is not None:
            return self._doubted_at == batch.doubted.raised_at
        if batch is not None and batch.question is not None:
            return self._question is not None and self._question[0] == batch.question.asked_at
        return True

    def was_shown_in(self, seq: int) -> bool:
        """Whether the question that is shown was there in the Snapshot of this number."""
        return self._question is not None and self._question[1] <= seq <= self.board.latest().seq

    def _made(self, seq: int, wall: str = "") -> Snapshot:
        shown, is_recorded = self._machine.shown, self._machine.is_recorded
        return snapshot_of(
            shown.batch,
            shown.bench,
            seq=seq,
            wall=wall or self._clock.wall_iso(),
            scale=self.scale,
            is_recorded=is_recorded,
        )

    def _note(self, snapshot: Snapshot) -> None:
        """Since when the open step, the question and the doubt have been shown."""
        addition = snapshot.addition
        step = (snapshot.batch, addition and (addition.key, addition.kind), snapshot.offers)
        if step != self._step:
            self._step, self.step_shown_at = step, self._published_at
        batch = self._machine.shown.batch
        self._doubted_at = batch.doubted.raised_at if batch and batch.doubted else None
        question = batch.question if batch else None
        if question is None:
            self._question = None
        elif self._question is None or self._question[0] != question.asked_at:
            self._question = (question.asked_at, snapshot.seq)


def _words(snapshot: Snapshot) -> tuple[object, ...]:
    """All of a Snapshot but its digits: what changes in it is shown at once."""
    addition, cue = snapshot.addition, snapshot.cue
    return (
        snapshot.scale,
        snapshot.scale_state,
        snapshot.is_recorded,
        snapshot.batch,
        addition and (addition.key, addition.phase, addition.kind, addition.target_mg, addition.told),
        (cue.word, cue.light, cue.spoken),
        snapshot.upcoming,
        snapshot.done,
        snapshot.offers,
        snapshot.cautions,
        snapshot.weight is None or snapshot.weight.is_settled,
    )
