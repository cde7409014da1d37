"""The procedure as a table: for each phase and each kind of input one action. Total; `refuse` is an action too.

The interpreter is `scaled.batch.decide`. A picture of the table is drawn from it by `diagram()`, so that the docs
cannot differ from it.
"""

from __future__ import annotations

import typing
from typing import Literal

from scaled.batch.bench import MachinePhase

Kind = Literal[
    "weight",
    "tick",
    "scale lost",
    "scale back",
    "restarted",
    "begin",
    "next",
    "back",
    "later",
    "hold",
    "resume",
    "abort",
    "close stage",
    "repeat",
    "offer",
    "lot",
    "swap",
    "start again",
]
Action = Literal[
    "ignore",
    "refuse",
    "watch",
    "watch the end",
    "watch the doubt",
    "watch the question",
    "begin",
    "note restart",
    "tare as it is",
    "finish here",
    "say yes",
    "settle the doubt",
    "take offer",
    "start again",
    "take back",
    "postpone",
    "hold",
    "resume",
    "abort",
    "close stage",
    "say again",
    "name lot",
    "swap",
]

PHASES: tuple[MachinePhase, ...] = (
    "idle",
    "held",
    "doubt",
    "asking",
    "vessel off",
    "waiting",
    "adding",
    "settling",
    "under",
    "in band",
    "over",
)
KINDS: tuple[Kind, ...] = typing.get_args(Kind)

_Row = dict[Kind, Action]

_REFUSED: _Row = dict.fromkeys(KINDS, "refuse")
_ALWAYS: _Row = _REFUSED | {
    "weight": "ignore",
    "tick": "ignore",
    "scale lost": "ignore",
    "scale back": "ignore",
    "restarted": "ignore",
}
_OPEN: _Row = _ALWAYS | {
    "weight": "watch",
    "tick": "watch",
    "restarted": "note restart",
    "hold": "hold",
    "abort": "abort",
    "close stage": "close stage",
    "repeat": "say again",
    "lot": "name lot",
    "swap": "swap",
}
_BEGUN: _Row = _OPEN | {"next": "finish here"}

TABLE: dict[MachinePhase, _Row] = {
    "idle": _ALWAYS | {"weight": "watch the end", "begin": "begin"},
    "held": _ALWAYS | {"restarted": "note restart", "resume": "resume", "abort": "abort", "lot": "name lot"},
    "doubt": _OPEN | {"weight": "watch the doubt", "tick": "watch the doubt", "next": "settle the doubt"},
    "asking": _OPEN
    | {"weight": "watch the question", "tick": "watch the question", "next": "say yes", "offer": "take offer"}
    | {"start again": "start again"},
    "vessel off": _OPEN | {"next": "tare as it is", "back": "take back", "later": "postpone"},
    "waiting": _OPEN | {"back": "take back", "later": "postpone"},
    "adding": _BEGUN,
    "settling": _BEGUN,
    "under": _BEGUN,
    "in band": _BEGUN,
    "over": _BEGUN,
}


def diagram() -> str:
    """The table as text: a row a phase, what it takes besides the plain passing of time."""
    lines = []
    for phase in PHASES:
        taken = [f"{kind}: {action}" for kind, action in TABLE[phase].items() if action not in ("refuse", "ignore")]
        lines.append(f"{phase:<10} | {' · '.join(taken)}")
    return "\n".join(lines)
