"""What the scale means: `Reading` in, `Weight` out, without I/O and without a clock."""

from scaled.weighing.advice import Advice, advice
from scaled.weighing.tail import Tail, learn
from scaled.weighing.values import Happening, Reading, Rest, ScaleState, Weight, What
from scaled.weighing.weigher import Weigher, WeigherSettings

__all__ = [
    "Advice",
    "Happening",
    "Reading",
    "Rest",
    "ScaleState",
    "Tail",
    "Weigher",
    "WeigherSettings",
    "Weight",
    "What",
    "advice",
    "learn",
]
