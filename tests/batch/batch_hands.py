"""Hands at the plate of a test that may do anything at any time, and what they really put in.

They pour what is shown to be open, spoon out of it, lift the vessel and put it back, pull plugs and press keys; a
canonical cook can always be asked to bring the batch to its end by doing what is shown.
"""

from __future__ import annotations

from batch_plate import BOWL_G, Plate

from scaled.formula.values import Formula

LONGEST_WAY = 120
TUB_G = 95.0


class Hands:
    """`true_g` is what is really in, by addition key; `vessels` what each weighs, `standing` which one stands there."""

    def __init__(self, formula: Formula, plate: Plate) -> None:
        self.plate = plate
        self.formula = formula
        self.true_g: dict[str, float] = {}
        self.vessels: dict[str, float] = {}
        self.standing: str | None = None
        self.has_given_up = False
        plate.rest(1.0)

    # What is shown.

    @property
    def shown(self):
        return self.plate.snapshot.addition

    @property
    def word(self) -> str:
        return self.plate.snapshot.cue.word

    @property
    def is_open(self) -> bool:
        return self.plate.batch is not None and self.plate.batch.is_open

    @property
    def is_pouring_time(self) -> bool:
        """Something may be put in now."""
        shown = self.shown
        return (
            shown is not None
            and self.plate.batch.state == "running"
            and self.standing is not None
            and shown.phase in ("waiting", "under", "adding", "settling")
            and shown.kind in ("addition", "top-up")
            and not self.plate.bench.is_scale_lost
        )

    @property
    def missing_g(self) -> float:
        return round(float(self.shown.remaining_mg) / 1000, 1)

    @property
    def may_honestly_say_yes(self) -> bool:
        """A "next" on an empty plate says that a vessel stands there; where the zero is lost, that nothing was added
        since something was recorded, or that it shows all there is; where it is to be emptied, that it is."""
        batch = self.plate.batch
        if batch.emptying is not None:
            return self.standing is not None and not any(self.true_g.values())
        if self.standing is None or batch.doubted is None or batch.doubted.doubt != "zero lost":
            return self.standing is not None
        recorded_mg = batch.contents_mg + (batch.question.net_mg if batch.question else 0)
        rest = self.plate.bench.rest
        shown_mg = batch.contents_mg + batch.net_mg(rest.mass_mg) if rest and batch.plate_mg is None else recorded_mg
        return any(abs(mg / 1000 - sum(self.true_g.values())) < 0.1 for mg in (recorded_mg, shown_mg))

    # What hands do.

    def put_in(self, key: str, mass_g: float, rest_s: float = 5.0) -> None:
        """More of an addition into the vessel that stands (negative: out of it), then rest."""
        mass_g = round(mass_g, 1)
        self.true_g[key] = round(self.true_g.get(key, 0.0) + mass_g, 1)
        self.vessels[self.standing] = round(self.vessels[self.standing] + mass_g, 1)
        self.plate.add(mass_g, rest_s)

    def vessel_wanted(self) -> str:
        spoken = self.plate.bench.cue.spoken
        is_tub = spoken is not None and spoken.phrase == "put a tub on"
        return self.shown.key if is_tub or self.shown.key in self.vessels else "bowl"

    def put_vessel(self, name: str) -> None:
        self.standing = name
        self.vessels.setdefault(name, BOWL_G if name == "bowl" else TUB_G)
        self.plate.add(self.vessels[name], 4.0)

    def lift_vessel(self, rest_s: float = 3.0) -> None:
        mass_g, self.standing = self.vessels[self.standing], None
        self.plate.add(-mass_g, rest_s)

    def empty_vessel(self, name: str, left: float = 0.0) -> None:
        """Throw away what is in a vessel that is off the scale, but for a share of each thing that is in it."""
        for key, mass_g in self.true_g.items():
            self.true_g[key] = round(left * mass_g, 1)
        self.vessels[name] = round(BOWL_G + sum(self.true_g.values()), 1)

    # A cook who does what is shown.

    def go_on(self) -> None:
        """One thing that brings the batch nearer to its end."""
        plate, shown = self.plate, self.shown
        plate.rest(1.0)
        shown = self.shown
        if plate.batch.state == "held":
            plate.wish("resume").rest(3)
        elif plate.bench.is_scale_lost:
            plate.silence(1.0).rest(3)
        elif shown is None:
            plate.rest(3)
        elif self.word in ("lift vessel", "confirm"):
            self._answer_the_doubt()
        elif shown.phase == "asking":
            plate.choose(0).rest(3)
        elif self.word == "empty vessel" and self.standing is not None:
            name = self.standing
            self.lift_vessel()
            self.empty_vessel(name)
            self.put_vessel(name)
        elif shown.phase == "vessel off":
            if self.standing is not None:
                self.lift_vessel()
            self.put_vessel(self.vessel_wanted())
        elif (self.word == "take out" and shown.remaining_mg < 0) or (
            shown.phase in ("waiting", "under") and self.missing_g > 0
        ):
            self.put_in(shown.key, self.missing_g)
        else:
            plate.wish("next").rest(3)

    def _answer_the_doubt(self) -> None:
        if self.standing is None:
            self.put_vessel(self.vessel_wanted())
            return
        if self.word == "lift vessel":
            name = self.standing
            self.lift_vessel()
            self.put_vessel(name)
            batch = self.plate.batch
            is_lost = batch.doubted is not None and batch.doubted.doubt == "zero lost"
            assert not is_lost or batch.plate_mg is None, "lifted and put back, and the zero is still lost"
        if self.plate.batch.doubted is not None:
            self.has_given_up = not self.may_honestly_say_yes
            self.plate.wish("abort" if self.has_given_up else "next").rest(3)

    def finish(self) -> None:
        """To the end of the batch by doing what is shown."""
        told = []
        for _ in range(LONGEST_WAY):
            if not self.is_open:
                return
            shown = self.shown
            told.append((shown and (shown.key, shown.kind, shown.phase, float(shown.remaining_mg)), self.word))
            self.go_on()
        raise AssertionError(f"no way out: {told[-8:]}, refused: {self.plate.refused}, load {self.plate.load_g}")
