"""The story in the terminal, told from events alone."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

from scaled.batch import events as e
from scaled.batch.envelope import Envelope
from scaled.catalogue import load_formula
from scaled.demo.story import Story

DOUGH = """\
formula: Trial dough
stages:
  - stage: dry
    additions:
      - {ingredient: wheat flour, weight: 200 g}
      - {ingredient: whole egg, weight: 50 g, weigh: first}
"""


def told(*events: e.Event) -> list[str]:
    """The lines of the story without their times."""
    lines: list[str] = []
    story = Story(lines.append)
    for count, event in enumerate(events, start=1):
        story.happened(Envelope("bench", count, "2031-02-03-01", "boot", "2031-02-03T04:05:06.000+00:00", event))
    return [line[9:].strip() for line in lines]


def test_what_was_weighed_first_is_poured_in_at_its_place(tmp_path: Path) -> None:
    (tmp_path / "dough.yaml").write_text(DOUGH)
    formula = load_formula(tmp_path / "dough.yaml")
    bench = e.BenchFacts("bench", 100, 30.0)
    lines = told(
        e.BatchStarted(0.0, "2031-02-03-01", formula, Fraction(1), bench),
        e.VesselTared(1.0, 95_000),
        e.AdditionConfirmed(2.0, "whole egg", 50_500, 145_500, 2.0),
        e.VesselTared(3.0, 812_000),
        e.AdditionConfirmed(4.0, "wheat flour", 200_000, 1_012_000, 4.0),
        e.PouredIn(5.0, "whole egg", 1_062_300),
        e.BatchCompleted(5.0),
    )
    assert "next: wheat flour, 200.0 g (in all 198.0 to 202.0)" in lines
    assert lines[-2].startswith("pour in: whole egg, 50.5 g")
    assert lines[-1] == "complete: 250.5 g in the bowl"
