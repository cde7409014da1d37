"""What one egg gives, by the class on the box or by weight.

Sources: USDA classes and edible grams: SR28 01123 (large: 50 g whole, 17 g yolk 01125, 33 g white 01124; refuse, the
shell, 12 %); the classes are those of USDA AMS 56. EU classes: Regulation 589/2008 and its successor 2023/2465 (XL 73 g
and more, L 63 to 73, M 53 to 63, S below 53, in the shell); of these the middle is taken, and 5 g beyond the open ends
(from memory, low confidence), less the shell. The parts are those of a large egg, 17 to 33.
"""

from __future__ import annotations

from fractions import Fraction

from scaled.formula.values import EggPart
from scaled.marks import nearest
from scaled.units import weight_mg

SHELL = Fraction(12, 100)
PARTS: dict[EggPart, Fraction] = {"whole": Fraction(1), "yolk": Fraction(17, 50), "white": Fraction(33, 50)}
USDA_EDIBLE_G = {"jumbo": 63, "extra large": 56, "large": 50, "medium": 44, "small": 38}
EU_IN_SHELL_G = {"XL": 78, "L": 68, "M": 58, "S": 48}

WHOLE_MG = {f"USDA {name}": Fraction(grams * 1_000) for name, grams in USDA_EDIBLE_G.items()} | {
    f"EU {name}": grams * 1_000 * (1 - SHELL) for name, grams in EU_IN_SHELL_G.items()
}


def piece_from_text(text: str, part: EggPart | None) -> Fraction:
    """What one of it weighs, in mg: `50 g`, and of an egg `EU M` or `USDA large`; raises ValueError."""
    classes = {name.casefold(): mass for name, mass in WHOLE_MG.items()}
    whole = classes.get(" ".join(text.casefold().split()))
    if whole is None:
        if text[:1].isalpha():
            close = nearest(text, WHOLE_MG)
            instead = f"did you mean {close}?" if close else "write it like EU M or 50 g"
            raise ValueError(f"'{text}' is no class of eggs: {instead}")
        return weight_mg(text)
    if part is None:
        raise ValueError(f"'{text}' is a class of eggs, and this is no egg: give its weight, like 50 g")
    return whole * PARTS[part]
