"""The lines that a simulated scale sends, written from what is known of real ones, not from our parser's formats."""

from __future__ import annotations

from scaled.simulator.parameters import ScaleParameters

UNIT_MG = {"g": 1_000, "kg": 1_000_000}
OVER = "over capacity"


class LineWriter:
    """Writes results as one scale would, each line with its CR LF."""

    def __init__(self, parameters: ScaleParameters) -> None:
        self._shape = parameters.shape
        self._unit = parameters.unit
        self._unit_mg = UNIT_MG[parameters.unit]
        self._decimals = _decimals(parameters.division_mg, self._unit_mg)

    def line(self, value_mg: int | None, *, in_motion: bool, is_net: bool) -> bytes:
        """One line; `value_mg` None: beyond the capacity, no weight is shown (OIML R 76-1, 4.2.3)."""
        match self._shape:
            case "header":  # ST,GS,+00123.4 g
                status = "OL" if value_mg is None else "US" if in_motion else "ST"
                number = f"{'':8}" if value_mg is None else self._number(value_mg, f"+08.{self._decimals}f")
                text = f"{status},{'NT' if is_net else 'GS'},{number} {self._unit}"
            case "header blank":  # ST,GS    85.5g  : no comma behind the load, the unit at the digits
                status = "OL" if value_mg is None else "US" if in_motion else "ST"
                number = "-" * 8 if value_mg is None else self._number(value_mg, f"8.{self._decimals}f")
                text = f"{status},{'NT' if is_net else 'GS'}{number}{self._unit:<3}"
            case "plain":  # nothing but the number and the unit
                number = "-" * 9 if value_mg is None else self._number(value_mg, f"9.{self._decimals}f")
                text = f"{number} {self._unit}"
            case "plain flags":  # -  1.640 kg   ?N: the sign apart, motion and net behind
                sign = "-" if value_mg is not None and value_mg < 0 else " "
                number = "-" * 8 if value_mg is None else self._number(abs(value_mg), f"8.{self._decimals}f")
                text = f"{sign}{number} {self._unit}   {'?' if in_motion else ' '}{'N' if is_net else 'G'}"
        return text.encode("ascii") + b"\r\n"

    def _number(self, value_mg: int, form: str) -> str:
        return format(value_mg / self._unit_mg, form)


def _decimals(division_mg: int, unit_mg: int) -> int:
    decimals = 0
    while division_mg * 10**decimals % unit_mg:
        decimals += 1
    return decimals
