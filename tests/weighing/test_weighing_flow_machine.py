"""What the machine learns of after-flow while it guides a simulated cook, and that nothing but cues depends on it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import groupby

import pytest

from scaled.batch.bench import Bench
from scaled.batch.guide import guide
from scaled.batch.inputs import BeginBatch, Input, Intent
from scaled.batch.step import step
from scaled.catalogue import FolderCatalogue
from scaled.shipped import shipped
from scaled.simulator.cook import CookStyle
from scaled.simulator.kitchen import Kitchen, bench_of
from scaled.simulator.parameters import ScaleParameters
from scaled.weighing.pours import Pours
from scaled.weighing.tail import START, Tail

STEM = "oat-and-honey-short-dough"


class Watched(Kitchen):
    """A kitchen that keeps what came in, and every cue with whether the weight was at rest."""

    def __post_init__(self) -> None:
        super().__post_init__()
        self.given: list[Input | Intent] = []
        self.cues: list[tuple[str, bool]] = []

    def _take(self, given: Input | Intent) -> None:
        self.given.append(given)
        super()._take(given)
        self.cues.append((self.bench.cue.word, self.bench.rest is not None))


def kitchen(seed: int, pours: Pours | None = None, factor: int = 2) -> Watched:
    formula = FolderCatalogue(shipped("recipes")).formula(STEM)
    style = CookStyle(eggs_g={"whole egg": 50.0}, says_yes_by="page")
    parameters = ScaleParameters()
    begin = BeginBatch(0.0, "simulated", formula, Fraction(factor), bench_of(parameters))
    made = Watched(begin, parameters, style, seed, bench=Bench(pours=pours or Pours()))
    made.run()
    return made


@pytest.fixture(scope="module")
def batches() -> list[Watched]:
    """Three batches, one after the other; what one has taught goes on to the next."""
    made: list[Watched] = []
    for seed in (1, 2, 3):
        made.append(kitchen(seed, made[-1].bench.pours if made else None))
    return made


def test_tails_are_learned_by_name_and_go_on_to_the_next_batch(batches: list[Watched]) -> None:
    seen = [{name: len(tail.seen_s) for name, tail in made.bench.pours.tails.items()} for made in batches]
    names = {addition.ingredient for addition in batches[0].begin.formula.weighed}
    assert seen[0]
    assert set(seen[-1]) <= names
    assert sum(seen[2].values()) > sum(seen[1].values()) > sum(seen[0].values())
    for tail in batches[-1].bench.pours.tails.values():
        assert 0.4 < tail.seconds < 1.4


def test_no_event_depends_on_a_tail(batches: list[Watched]) -> None:
    """The inputs of a batch, taken again by a machine that believes in tails of none and of five seconds."""
    made = batches[0]
    names = [addition.ingredient for addition in made.begin.formula.weighed]
    words = []
    for tail in (Tail(0.0, 0.0), Tail(5.0, 2.0)):
        batch, bench, events, said = None, Bench(pours=Pours(dict.fromkeys(names, tail))), [], []
        for given in made.given:
            taken = step(batch, bench, given)
            batch, bench = taken.batch, taken.bench
            events += taken.events
            said.append(bench.cue.word)
        assert events == made.events
        words.append(said)
    assert words[0] != words[1], "the cues do depend on it"


def test_stop_is_said_once_between_two_rests_and_not_taken_back(batches: list[Watched]) -> None:
    stops = []
    for made in batches:
        for is_at_rest, cues in groupby(made.cues, key=lambda cue: cue[1]):
            words = [word for word, _ in groupby(word for word, _ in cues)]
            stops.append(words.count("stop"))
            if "stop" in words and not is_at_rest:
                assert not set(words[words.index("stop") :]) & {"pour", "slow", "a little, then wait"}
    assert max(stops) == 1
    assert sum(stops) >= 3 * len(batches)


def test_the_tone_quickens_towards_the_target_and_is_silent_after_the_stop(batches: list[Watched]) -> None:
    made = batches[0]
    batch, bench = None, Bench()
    beats: list[float] = []
    quicker = slower = 0
    for given in made.given:
        taken = step(batch, bench, given)
        batch, bench = taken.batch, taken.bench
        word, pace = bench.cue.word, bench.cue.beats_per_s
        if word in ("pour", "slow"):
            assert pace is not None
            quicker += bool(beats) and pace > beats[-1]
            slower += bool(beats) and pace < beats[-1]
            beats.append(pace)
        else:
            beats.clear()
        if word in ("stop", "in band", "wait"):
            assert pace is None
    assert quicker > 5 * slower  # a flow that is slowed brings the expected end back a little


def test_a_pour_is_not_followed_over_a_loss_of_the_scale(batches: list[Watched]) -> None:
    made = batches[0]
    batch, bench = None, Bench()
    for given in made.given:
        taken = step(batch, bench, given)
        batch, bench = taken.batch, taken.bench
        if bench.pours.said is not None:
            break
    assert guide(batch, replace(bench, is_scale_lost=True)).pours.said is None
    assert bench.pours.tail("never poured") is START
