"""What is seen and heard at an instant: pace, figures, and that nothing sounds or shines without end."""

from __future__ import annotations

from itertools import pairwise
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scaled.batch.cue import Cue, CueWord, Light
from scaled.cues.signals import DARK, FASTEST_BEATS_PER_S, MOST_ON_S, OVER_TONE_S, PULSE_S, STALE_S, Shown, Signals

Pulse = tuple[float, float]


def heard(signals: Signals, start: float, end: float, cues: list[tuple[float, Cue]]) -> list[Pulse]:
    """From and to of each time that the buzzer sounds, looked at only when something is due, as the board does."""
    pulses: list[Pulse] = []
    on_at, at, waiting = None, start, list(cues)
    while at < end:
        while waiting and waiting[0][0] <= at:
            signals.show(waiting[0][1], at)
            waiting.pop(0)
        is_sounding = signals.at(at).is_sounding
        if is_sounding and on_at is None:
            on_at = at
        elif not is_sounding and on_at is not None:
            pulses.append((on_at, at))
            on_at = None
        due = signals.due(at)
        assert due is None or due > at
        at = min([end, *([due] if due is not None else []), *(cue_at for cue_at, _ in waiting[:1])])
    return pulses + ([(on_at, at)] if on_at is not None else [])


def shown_often(cue: Cue, start: float, end: float, every_s: float = 0.1) -> list[tuple[float, Cue]]:
    return [(start + n * every_s, cue) for n in range(round((end - start) / every_s))]


@pytest.mark.parametrize("light", get_args(Light))
def test_the_light_of_the_cue_shines(light: Light) -> None:
    signals = Signals()
    signals.show(Cue("pour", light), 1.0)
    assert signals.at(1.0) == Shown(light)


def test_nothing_has_been_shown_nothing_shines() -> None:
    assert Signals().at(0.0) == DARK
    assert Signals().due(0.0) is None


@pytest.mark.parametrize("pace", [0.5, 1.0, 2.5, 5.0, 10.0])
def test_the_tone_beats_at_the_pace_of_the_cue(pace: float) -> None:
    pulses = heard(Signals(), 1.0, 11.0, shown_often(Cue("pour", "under", pace), 1.0, 11.0))
    assert len(pulses) == pytest.approx(10 * pace, abs=1)
    gaps = [later[0] - earlier[0] for earlier, later in pairwise(pulses)]
    assert gaps == pytest.approx([1 / pace] * len(gaps))
    assert all(end - start == pytest.approx(min(PULSE_S, 0.5 / pace)) for start, end in pulses[:-1])


def test_a_pace_that_quickens_with_every_cue_never_stumbles() -> None:
    cues = [(1.0 + n / 10, Cue("pour", "under", 1.0 + n / 20)) for n in range(100)]
    starts = [start for start, _ in heard(Signals(), 1.0, 11.0, cues)]
    gaps = [later - earlier for earlier, later in pairwise(starts)]
    assert all(later <= earlier + 1e-9 for earlier, later in pairwise(gaps))
    assert gaps[0] > 0.7
    assert gaps[-1] < 0.2


def test_the_tone_is_silent_in_the_band() -> None:
    assert heard(Signals(), 1.0, 5.0, shown_often(Cue("in band", "in", None), 1.0, 5.0)) == []


def test_stop_is_one_long_pulse_at_once_and_over_is_three() -> None:
    stop = heard(Signals(), 1.0, 5.0, shown_often(Cue("stop", "in", None), 1.0, 5.0))
    assert stop == [(1.0, pytest.approx(1.4))]
    over = heard(Signals(), 1.0, 5.0, shown_often(Cue("over", "over", None), 1.0, 5.0))
    assert [start for start, _ in over] == pytest.approx([1.0, 1.4, 1.8])
    assert [end - start for start, end in over] == pytest.approx([0.25] * 3)


def test_the_tone_for_over_is_of_long_pulses_and_ends_while_the_question_stands() -> None:
    pulses = heard(Signals(), 1.0, 60.0, shown_often(Cue("choose", "over", 2.0), 1.0, 60.0))
    assert all(end - start == pytest.approx(0.25) for start, end in pulses[:-1])
    assert 5.5 < pulses[-1][1] <= 1.0 + OVER_TONE_S


def test_the_tone_for_over_sounds_again_when_it_is_over_again() -> None:
    rows = [(1.0, Cue("choose", "over", 2.0)), (10.0, Cue("in band", "in")), (20.0, Cue("choose", "over", 2.0))]
    cues = [(at + n / 10, cue) for at, cue in rows for n in range(100)]
    starts = [start for start, _ in heard(Signals(), 1.0, 30.0, cues)]
    assert [start for start in starts if 6 < start < 20] == []
    assert next(start for start in starts if start >= 20) == pytest.approx(20.0)


def test_a_cue_that_nobody_renews_goes_dark_after_3_s() -> None:
    signals = Signals()
    signals.show(Cue("pour", "under", 2.0), 1.0)
    assert signals.at(1.0 + STALE_S - 0.01).light == "under"
    assert signals.at(1.0 + STALE_S) == DARK
    assert signals.due(1.0 + STALE_S) is None
    pulses = heard(Signals(), 1.0, 60.0, [(1.0, Cue("pour", "under", 2.0))])
    assert pulses[-1][1] <= 1.0 + STALE_S


@pytest.mark.parametrize("pace", [float("nan"), float("inf"), -1.0, 0.0])
def test_a_pace_that_is_none_is_silence(pace: float) -> None:
    assert heard(Signals(), 1.0, 3.0, shown_often(Cue("pour", "under", pace), 1.0, 3.0)) == []


def test_no_pace_is_faster_than_can_be_told_apart() -> None:
    pulses = heard(Signals(), 1.0, 3.0, shown_often(Cue("pour", "under", 1000.0), 1.0, 3.0))
    assert len(pulses) <= 2 * FASTEST_BEATS_PER_S + 1


def test_a_board_that_is_late_sounds_a_whole_pulse_and_does_not_catch_up() -> None:
    signals = Signals()
    signals.show(Cue("pour", "under", 2.0), 1.0)
    assert signals.at(1.0).is_sounding
    assert not signals.at(1.1).is_sounding
    signals.show(Cue("pour", "under", 2.0), 3.26)
    assert signals.at(3.26).is_sounding
    assert signals.at(3.26 + PULSE_S / 2).is_sounding
    assert not signals.at(3.26 + PULSE_S).is_sounding
    assert signals.due(3.26 + PULSE_S) == pytest.approx(3.76)


cue_rows = st.lists(
    st.tuples(
        st.floats(0.001, 1.0),
        st.builds(
            Cue,
            st.sampled_from(get_args(CueWord)),
            st.sampled_from(get_args(Light)),
            st.one_of(st.none(), st.floats(-1, 50), st.just(float("nan"))),
        ),
    ),
    max_size=30,
)


@given(rows=cue_rows)
def test_whatever_cues_come_no_sound_lasts_longer_than_half_a_second(rows: list[tuple[float, Cue]]) -> None:
    cues = [(1.0 + sum(gap for gap, _ in rows[: n + 1]), cue) for n, (_, cue) in enumerate(rows)]
    for start, end in heard(Signals(), 1.0, 40.0, cues):
        assert end - start <= MOST_ON_S + 1e-9
