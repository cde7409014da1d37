"""The usual cautions of a formula as a whole: raw flour and egg, the oven, cooling. They defer to local codes.

Sources: raw dough: US CDC, "No raw dough"; egg dishes to 71 degC (160 degF): US consumer advice; cooling from 57 to
21 degC within 2 h and to 5 degC within 6 h in all: FDA Food Code 3-501.14.
"""

from __future__ import annotations

from fractions import Fraction

from scaled.formula.steps import heat_text
from scaled.formula.values import Formula

EGG_IS_COOKED_C = 71
HOT_C = 100
NO_HEAT = (Fraction(0), Fraction(0))
COOKS = frozenset({"cook", "boil", "simmer", "scald"})

RAW_FLOUR = "raw flour may carry germs: do not taste the dough, wash hands and tools"
RAW_EGG = "raw egg may carry germs: do not taste, keep it cold, wash hands and tools"
UNCOOKED_EGG = "no step heats the egg to 71 degC: use pasteurised egg, and not for guests at risk"
COOL = "cool quickly: from 57 to 21 degC within 2 h, to 5 degC within 6 h in all; local codes decide"


def usual_cautions(formula: Formula) -> tuple[str, ...]:
    """What is said once for the whole formula, the most general first."""
    cautions = []
    has_egg = any(addition.egg is not None for addition in formula.additions)
    if any(addition.role == "flour" for addition in formula.additions):
        cautions.append(RAW_FLOUR)
    if has_egg:
        cautions.append(RAW_EGG)
        hottest = max((step.at_celsius[1] for step in formula.steps if step.at_celsius), default=None)
        if hottest is not None and hottest < EGG_IS_COOKED_C:
            cautions.append(UNCOOKED_EGG)
    hot = [step for step in formula.steps if step.at_celsius and step.at_celsius[1] >= HOT_C]
    if hot:
        step = max(hot, key=lambda step: step.at_celsius or NO_HEAT)
        cautions.append(f"{step.do} at {heat_text(((step.at_celsius or NO_HEAT)[1],) * 2)}: mind burns")
    is_perishable = has_egg or any("milk" in addition.allergens for addition in formula.additions)
    if is_perishable and any(COOKS & set(step.do.casefold().split()) for step in formula.steps):
        cautions.append(COOL)
    return tuple(cautions)
