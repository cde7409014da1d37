"""A simulated cook who looks at the page of a real daemon, whatever befalls it, and bakes batch after batch.

The cook sees what a browser sees: the Snapshot over HTTP; where nobody answers, a number that is greyed. What the
hands really put in is kept for each batch, to hold the records against.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from daemon_process import Place, Refusal, Running

from scaled.batch.acceptance import net_u_mg
from scaled.batch.cue import Cue
from scaled.batch.inputs import Intent, TakeOffer, Wanted
from scaled.batch.snapshot import ShownAddition, ShownBatch, Snapshot
from scaled.clock import RealClock
from scaled.records.reader import RecordsReader
from scaled.simulator.cook import Cook, CookStyle
from scaled.simulator.hands import Hands
from scaled.simulator.pseudo_terminal import PtyPlate, PtyScale

MOMENT_S = 0.04
GREYED = Cue("scale lost")
STYLE = CookStyle(
    jug_g_s=(40.0, 60.0),
    end_g_s=(2.0, 4.0),
    spoon_g=(8.0, 15.0),
    spoon_every_s=(0.8, 1.2),
    think_s=(0.3, 0.6),
    eggs_g={"whole egg": 50.0},
)


def snapshot_from(status: dict[str, Any]) -> Snapshot:
    """What a cook reads off the page, as the value that the simulated one takes."""
    batch, addition = status["batch"], status["addition"]
    return Snapshot(
        seq=status["seq"],
        at=0.0,
        wall=status["at"],
        is_recorded=status["recorded"],
        scale=status["scale"]["name"],
        scale_state=status["scale"]["state"],
        weight=None,
        batch=batch
        and ShownBatch(batch["id"], batch["formula"], batch["title"], Fraction(batch["factor"]), batch["state"]),
        addition=addition
        and ShownAddition(
            key=addition["ingredient"],
            ingredient=addition["ingredient"],
            stage=addition["stage"],
            target_mg=Fraction(addition["target_g"]) * 1000,
            remaining_mg=Fraction(addition["remaining_g"]) * 1000,
            band_mg=(round(addition["band_g"][0] * 1000), round(addition["band_g"][1] * 1000)),
            phase=addition["phase"],
            kind=addition["kind"],
        ),
        upcoming=(),
        done=(),
        offers=tuple(str(offer) for offer in status["offers"]),  # type: ignore[misc]  # only compared
        cue=Cue(status["cue"]),
        cautions=(),
    )


@dataclass
class Baked:
    """A batch and what the hands put into it, in grams by addition key."""

    batch: str
    true_g: dict[str, float]


class Bakery:
    """The cook at one scale. `running` is the daemon whose page is looked at; it may come and go."""

    def __init__(self, scale: PtyScale, seed: int) -> None:
        self.scale, self.clock = scale, RealClock()
        self.source = random.Random(seed)
        self.running: Running | None = None
        self.baked: list[Baked] = []
        self.status: dict[str, Any] | None = None
        self._is_greyed = False
        self._new_cook()

    def _new_cook(self) -> None:
        self.hands = Hands(PtyPlate(self.scale))
        self.cook = Cook(self.hands, STYLE, self.source, self._send)

    def bake(self, until: Callable[[], object], within_s: float) -> None:
        """Work until something is so."""
        end_at = self.clock.monotonic() + within_s
        while not until():
            assert self.clock.monotonic() < end_at, f"not within {within_s} s: {self.status}"
            self._look()
            self.cook.act(self.clock.monotonic())
            self.clock.sleep(MOMENT_S)

    @property
    def is_between_batches(self) -> bool:
        return self.status is None or self.status["batch"] is None or self.status["batch"]["state"] == "complete"

    def begin(self) -> None:
        """Clear the plate and begin another batch."""
        assert self.running is not None
        if self.hands.standing is not None:
            self.hands.lift_vessel(self.clock.monotonic())
        self._new_cook()
        formula = ("quick-dough", "oat-dough")[len(self.baked) % 2]
        batch = self.running.ask("/api/v1/batch", {"formula": formula})["batch"]
        self.baked.append(Baked(batch, self.hands.true_g))
        self._look()

    def _look(self) -> None:
        """Look at the page; where it does not answer or the scale is lost, whatever was being done is let go."""
        try:
            assert self.running is not None
            self.status = self.running.status
            seen = snapshot_from(self.status)
            is_greyed = seen.scale_state != "ready"
        except ConnectionError:
            is_greyed = True
            if self.status is None:
                return
            seen = replace(snapshot_from(self.status), cue=GREYED)
        if is_greyed and not self._is_greyed:
            self.cook.startle()
        self._is_greyed = is_greyed
        self.cook.see(seen)

    def _send(self, intent: Intent) -> None:
        """By the page's buttons; a no is looked at again in the next Snapshot."""
        try:
            assert self.running is not None
            if isinstance(intent, TakeOffer):
                self.running.ask("/api/v1/offer", {"offer": intent.index, "seq": intent.seq})
            elif isinstance(intent, Wanted):
                self.running.ask("/api/v1/intent", {"intent": intent.wish})
        except (Refusal, ConnectionError):
            return

    def assert_recorded(self, place: Place) -> None:
        """Every batch is in the records once, complete or still open, and holds what the hands put in."""
        reader = RecordsReader(place.records)
        assert {line["id"] for line in reader.batches(None)} == {baked.batch for baked in self.baked}
        for baked in self.baked:
            record = next(r for r in reader.records() if r.batch.id == baked.batch)
            batch = record.batch
            for content in batch.contents:
                if not content.is_in:
                    continue
                off_mg = abs(content.in_mg - 1000 * baked.true_g.get(content.key, 0.0))
                most_mg = max(batch.facts.division_mg, 5 * net_u_mg(batch.facts, content.weighings))
                assert off_mg <= most_mg, f"{baked.batch} {content.key}: {content.in_mg} mg, really {baked.true_g}"
        assert reader.verify().is_sound
