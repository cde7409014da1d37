"""A simulated cook's hands: what they put on the plate, and the truth about it.

The truth that a record is checked against is kept here, by the addition that the hands meant: `true_g`, and what was
thrown away of it: `thrown_g`. Vessels are lifted and put back with all that is in them. Whatever can take masses at
times serves as the plate.
"""

from __future__ import annotations

from typing import Protocol

FALL_S = 0.25  # assumed: from the lip of the jug to the bowl
EGG_SPLASH = (0.05, 0.15)  # figures for the simulator: splashes 5 to 15 % over on the way


class Plate(Protocol):
    """What a simulated scale offers to hands (see `SimulatedScale`); `at` is bench seconds."""

    def add(self, mass_g: float, at: float) -> None: ...

    def put(self, mass_g: float, at: float, *, splash: float) -> None: ...

    def press(self, peak_g: float, at: float) -> None: ...


class Hands:
    """Puts masses on the plate and remembers what of each addition really is in which vessel."""

    def __init__(self, plate: Plate, bowl_g: float = 812.0, tub_g: float = 95.0) -> None:
        self.plate = plate
        self.bowl_g = bowl_g
        self.tub_g = tub_g
        self.true_g: dict[str, float] = {}
        self.thrown_g: dict[str, float] = {}
        self.inside_g: dict[str, dict[str, float]] = {}
        self.vessels: dict[str, float] = {}
        self.standing: str | None = None

    def put_vessel(self, name: str, at: float) -> None:
        """Put a vessel on (with what is in it): the bowl, or the tub of an addition."""
        if self.standing is not None:
            raise ValueError(f"{self.standing} stands there already")
        empty = self.bowl_g if name == "bowl" else self.tub_g
        self.standing = name
        self.plate.put(self.vessels.setdefault(name, empty), at, splash=0.1)

    def lift_vessel(self, at: float) -> None:
        """Take the vessel off the plate, with all that is in it."""
        if self.standing is None:
            raise ValueError("no vessel stands there")
        self.plate.add(-self.vessels[self.standing], at)
        self.standing = None

    def empty_vessel(self, name: str, left: float = 0.0) -> None:
        """Throw away what is in a vessel that does not stand on the plate, but for a share of each thing in it."""
        if self.standing == name:
            raise ValueError(f"{name} stands on the plate: lift it first")
        inside_g = self.inside_g.get(name, {})
        for key, mass_g in inside_g.items():
            out_g = (1 - left) * mass_g
            inside_g[key] = mass_g - out_g
            self.true_g[key] -= out_g
            self.thrown_g[key] = self.thrown_g.get(key, 0.0) + out_g
            self.vessels[name] -= out_g

    def add(self, key: str, mass_g: float, at: float, fall_s: float = FALL_S) -> None:
        """Some of an addition goes in (negative: is spooned out); it lands `fall_s` later."""
        self._goes_in(key, mass_g)
        self.plate.add(mass_g, at + fall_s)

    def drop(self, key: str, mass_g: float, at: float, splash: float) -> None:
        """Something falls in at once: an egg, a piece of butter."""
        self._goes_in(key, mass_g)
        self.plate.put(mass_g, at, splash=splash)

    def _goes_in(self, key: str, mass_g: float) -> None:
        if self.standing is None:
            raise ValueError(f"{key} would land on the plate: no vessel stands there")
        inside_g = self.inside_g.setdefault(self.standing, {})
        inside_g[key] = inside_g.get(key, 0.0) + mass_g
        self.true_g[key] = self.true_g.get(key, 0.0) + mass_g
        self.vessels[self.standing] += mass_g

    def lay(self, mass_g: float, at: float, lasts_s: float) -> None:
        """A whisk is laid into the bowl and taken out again."""
        self.plate.put(mass_g, at, splash=0.05)
        self.plate.add(-mass_g, at + lasts_s)

    def press(self, peak_g: float, at: float) -> None:
        self.plate.press(peak_g, at)
