"""What a bench has set, as values that check themselves."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from scaled.cues.settings import CueSettings
from scaled.formula.ingredients import AllergenList
from scaled.formula.scales import ScaleFacts
from scaled.instruments.line_format import LineFormat
from scaled.instruments.options import PortOptions
from scaled.page.options import PageOptions


@dataclass(frozen=True)
class ScaleSettings:
    """One scale: how it is reached, how it speaks, what its plate says (None: not told, learned while it runs).

    `repeatability_mg` is the standard deviation of one weighing.
    """

    name: str
    port: str
    line: LineFormat
    capacity_mg: int | None = None
    division_mg: int | None = None
    repeatability_mg: float | None = None
    options: PortOptions = field(default_factory=PortOptions)

    def __post_init__(self) -> None:
        if self.capacity_mg is not None and self.division_mg is not None and self.capacity_mg < 100 * self.division_mg:
            raise ValueError("division: a scale shows at least a hundred divisions up to its capacity")


@dataclass(frozen=True)
class VesselSettings:
    """A bowl or tub that is known by its empty weight; `holds_ml` is its working volume."""

    name: str
    empty_mg: int
    holds_ml: Fraction | None = None


@dataclass(frozen=True)
class Settings:
    """All that a bench has set, read from `file`; the first scale is the one that a batch is weighed on."""

    file: Path
    scales: tuple[ScaleSettings, ...]
    formulas: Path
    records: Path
    vessels: tuple[VesselSettings, ...] = ()
    page: PageOptions = field(default_factory=PageOptions)
    cues: CueSettings = field(default_factory=CueSettings)
    confirm_after_s: float = 1.0
    is_guarded: bool = False
    leaves_small: bool = False
    allergens: AllergenList = "eu"

    @property
    def scale_facts(self) -> tuple[ScaleFacts, ...]:
        """The scales as a plan needs them; one whose division is not known cannot be planned for."""
        return tuple(
            ScaleFacts(scale.name, scale.division_mg, scale.capacity_mg, scale.repeatability_mg)
            for scale in self.scales
            if scale.division_mg is not None
        )
