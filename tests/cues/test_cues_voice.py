"""The voice with the real espeak-ng, and with programs that hang, fail, flood and ignore signals."""

from __future__ import annotations

import array
import logging
import wave
from collections.abc import Iterator
from pathlib import Path

import pytest
from cues_waiting import until

from scaled.batch.cue import Cue, Spoken
from scaled.clock import ManualClock
from scaled.cues.output import CueOutput
from scaled.cues.settings import CueSettings, Lights
from scaled.cues.speech import Speech, Utterance
from scaled.cues.voice import Voice, limit_s
from scaled.phrases import phrase

SAYS = 'cat >> "{log}"; echo >> "{log}"'  # what it is told, one line each
HANGS = 'echo $$ > "{pid}"; exec sleep 1000'
NEVER_LETS_GO = "trap '' TERM INT HUP PIPE; echo $$ > \"{pid}\"; while :; do sleep 1000; done"


class Programs:
    """Real executables in a folder of the test, in place of espeak-ng and aplay."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.log = folder / "said"
        self.pid = folder / "pid"

    def make(self, name: str, script: str) -> str:
        path = self.folder / name
        path.write_text("#!/bin/sh\n" + script.replace("{log}", str(self.log)).replace("{pid}", str(self.pid)) + "\n")
        path.chmod(0o755)
        return str(path)

    def said(self) -> list[str]:
        return self.log.read_text().splitlines() if self.log.exists() else []

    def is_running(self) -> bool:
        """Whether the program that wrote its number is there still, be it as a zombie; False before it has."""
        text = self.pid.read_text().strip() if self.pid.exists() else ""
        return bool(text) and Path(f"/proc/{text}").exists()


@pytest.fixture
def programs(tmp_path: Path) -> Programs:
    return Programs(tmp_path)


@pytest.fixture
def voices() -> Iterator[list[Voice]]:
    made: list[Voice] = []
    yield made
    for voice in made:
        voice.close()


def begun(voices: list[Voice], speech: Speech, clock: ManualClock | None = None) -> Voice:
    voices.append(Voice("en", speech, clock))
    voices[-1].start()
    return voices[-1]


def tub(serial: int, ingredient: str) -> Spoken:
    return Spoken(serial, "put a tub on", (("ingredient", ingredient),))


@pytest.mark.parametrize("language", ["en", "de", "fr"])
def test_espeak_ng_makes_a_sound_that_lasts_as_long_as_a_sentence(language: str, tmp_path: Path) -> None:
    sound = tmp_path / "said.wav"
    utterance = Utterance(Speech(wav=sound), language, phrase(language, "next", ingredient="Roggenmehl", grams="300"))
    until(lambda: not utterance.is_going_on(), "all is said")
    utterance.end()
    assert utterance.is_whole
    assert utterance.failure is None
    with wave.open(str(sound)) as heard:
        seconds = heard.getnframes() / heard.getframerate()
        loudest = max(map(abs, array.array("h", heard.readframes(heard.getnframes()))))
    assert 0.8 < seconds < limit_s("Roggenmehl, 300 Gramm.") / 2
    assert loudest > 1000


def test_a_phrase_is_told_by_standard_input_and_never_as_an_argument(programs: Programs) -> None:
    program = programs.make("espeak-ng", 'echo "$@" >> "{log}"; ' + SAYS)
    voice = Voice("en", Speech(program, player=None))
    voice.start()
    voice.say(tub(1, "-w /etc/passwd; $(reboot)"))
    until(lambda: len(programs.said()) >= 2, "it was said")
    voice.close()
    assert programs.said() == ["-v en -s 160 --stdin", "Put a tub on for -w /etc/passwd; $(reboot)."]


def test_the_sound_goes_through_the_player_on_the_device_of_the_settings(
    programs: Programs, voices: list[Voice]
) -> None:
    speak = programs.make("espeak-ng", 'echo "$@"; cat')
    play = programs.make("aplay", 'echo "$@" >> "{log}"; ' + SAYS)
    voice = begun(voices, Speech(speak, play, "plughw:Headphones"))
    voice.say(tub(1, "butter"))
    until(lambda: programs.said()[-1:] == ["Put a tub on for butter."], "it was played")
    assert programs.said() == ["-q -D plughw:Headphones -", "-v en -s 160 --stdin --stdout", "Put a tub on for butter."]


def test_without_a_player_espeak_ng_plays_by_itself() -> None:
    assert Speech(player="/nowhere/aplay").commands("en") == [["espeak-ng", "-v", "en", "-s", "160", "--stdin"]]


def test_a_program_that_is_absent_is_a_state_and_one_line_in_the_log(caplog: pytest.LogCaptureFixture) -> None:
    voice = Voice("en", Speech("/nowhere/espeak-ng"))
    voice.start()
    voice.say(tub(1, "butter"))
    voice.close()
    assert voice.state == "unavailable: no /nowhere/espeak-ng"
    assert len(caplog.records) == 1


def test_a_bench_without_a_voice_says_so() -> None:
    voice = Voice(None)
    voice.start()
    voice.say(tub(1, "butter"))
    voice.close()
    assert voice.state == "none in the settings"


class AskedClock(ManualClock):
    """Counts how often it is asked."""

    asked = 0

    def monotonic(self) -> float:
        self.asked += 1
        return super().monotonic()


@pytest.mark.parametrize("script", [HANGS, NEVER_LETS_GO])
def test_a_program_that_hangs_is_killed_when_its_text_could_have_been_said(
    script: str, programs: Programs, voices: list[Voice], caplog: pytest.LogCaptureFixture
) -> None:
    clock = AskedClock()
    voice = begun(voices, Speech(programs.make("espeak-ng", script), player=None), clock)
    voice.say(tub(1, "butter"))
    until(programs.is_running, "it hangs")
    clock.advance(limit_s("Put a tub on for butter.") - 0.1)
    voice.say(tub(2, "salt"))
    asked = clock.asked
    until(lambda: clock.asked >= asked + 2, "it has looked at the clock")
    assert programs.is_running()
    clock.advance(0.2)
    until(lambda: voice.state == "failed: espeak-ng hung and was ended", "it is said that it hung")
    assert [record.levelno for record in caplog.records if "hung" in record.message] == [logging.WARNING]


def test_what_hangs_is_gone_with_all_that_it_started(programs: Programs, voices: list[Voice]) -> None:
    speak = programs.make("espeak-ng", "cat")
    play = programs.make("aplay", 'sleep 1000 & echo $! > "{pid}"; wait')
    clock = ManualClock()
    voice = begun(voices, Speech(speak, play), clock)
    voice.say(tub(1, "butter"))
    until(programs.is_running, "the player waits for its own child")
    clock.advance(1000)
    until(lambda: not programs.is_running(), "the child's child is gone")
    until(lambda: "aplay hung" in voice.state, "the one that hung is named")


@pytest.mark.parametrize(
    ("speak", "play", "state"),
    [
        ("exit 1", "cat > /dev/null", "failed: espeak-ng ended with 1"),
        ("exit 1", "exit 1", "failed: espeak-ng ended with 1"),
        ("cat; head -c 1000000 /dev/zero", "exit 1", "failed: aplay ended with 1"),
        ("cat", "kill -SEGV $$", "failed: aplay ended with -11"),
    ],
)
def test_the_program_that_fails_is_named_until_it_works_again(
    speak: str, play: str, state: str, programs: Programs, voices: list[Voice]
) -> None:
    voice = begun(voices, Speech(programs.make("espeak-ng", speak), programs.make("aplay", play)))
    voice.say(tub(1, "butter"))
    until(lambda: voice.state == state, state)
    programs.make("new-espeak-ng", "cat")
    (programs.folder / "new-espeak-ng").rename(programs.folder / "espeak-ng")
    programs.make("new-aplay", SAYS)
    (programs.folder / "new-aplay").rename(programs.folder / "aplay")
    voice.say(tub(2, "salt"))
    until(lambda: voice.state == "ready", "ready again")
    assert programs.said()[-1] == "Put a tub on for salt."


def test_a_program_that_can_not_be_started_is_a_state(programs: Programs, voices: list[Voice]) -> None:
    program = programs.make("espeak-ng", "")
    voice = begun(voices, Speech(program, player=None))
    Path(program).write_bytes(b"\x7fELF no program")
    voice.say(tub(1, "butter"))
    until(lambda: voice.state.startswith("failed: "), "it is said")
    assert "Exec format error" in voice.state


def test_a_program_that_floods_its_standard_error_is_no_hindrance(programs: Programs, voices: list[Voice]) -> None:
    flood = "head -c 20000000 /dev/zero >&2; " + SAYS
    voice = begun(voices, Speech(programs.make("espeak-ng", flood), player=None))
    voice.say(tub(1, "butter"))
    until(lambda: programs.said() == ["Put a tub on for butter."], "it was said all the same")


def test_of_what_waits_the_two_newest_are_said(programs: Programs, voices: list[Voice]) -> None:
    gate = programs.folder / "gate"
    script = f'echo $$ > "{{pid}}"; while [ ! -e "{gate}" ]; do sleep 0.01; done; ' + SAYS
    voice = begun(voices, Speech(programs.make("espeak-ng", script), player=None))
    voice.say(tub(1, "flour"))
    until(programs.is_running, "the first is being said")
    for serial, ingredient in enumerate(["sugar", "salt", "starch", "butter"], 2):
        voice.say(tub(serial, ingredient))
    gate.touch()
    until(lambda: programs.said()[-1:] == ["Put a tub on for butter."], "the newest is said")
    assert programs.said() == ["Put a tub on for flour.", "Put a tub on for starch.", "Put a tub on for butter."]


def test_stop_cuts_off_what_is_being_said_and_all_that_waits(programs: Programs, voices: list[Voice]) -> None:
    script = (
        'read -r text; case "$text" in Stop.) echo "$text" >> "{log}";; *) echo $$ > "{pid}"; exec sleep 1000;; esac'
    )
    voice = begun(voices, Speech(programs.make("espeak-ng", script), player=None))
    voice.say(tub(1, "flour"))
    until(programs.is_running, "a sentence without an end")
    voice.say(tub(2, "sugar"))
    voice.say(Spoken(3, "stop"))
    until(lambda: programs.said() == ["Stop."], "stop is said")
    assert not programs.is_running()


def test_a_question_is_cut_off_by_whatever_comes_after_it(programs: Programs, voices: list[Voice]) -> None:
    script = (
        'read -r text; case "$text" in *butter*) echo "$text" >> "{log}";; *) echo $$ > "{pid}"; exec sleep 1000;; esac'
    )
    voice = begun(voices, Speech(programs.make("espeak-ng", script), player=None))
    egg = (("ingredient", "whole egg"), ("grams", "7"), ("advice", "advise keep"))
    voice.say(Spoken(1, "over", egg))
    until(programs.is_running, "the question is being asked")
    voice.say(tub(2, "butter"))
    until(lambda: programs.said() == ["Put a tub on for butter."], "the answer's consequence is said")


def test_a_question_that_still_waits_is_not_asked_any_more(programs: Programs) -> None:
    voice = Voice("en", Speech(programs.make("espeak-ng", SAYS), player=None))
    voice.say(Spoken(1, "load heavier"))
    voice.say(tub(2, "butter"))
    voice.start()
    until(lambda: programs.said() == ["Put a tub on for butter."], "only what is true now is said")
    voice.close()


def test_a_stop_whose_moment_has_passed_is_not_said(programs: Programs) -> None:
    clock = ManualClock()
    voice = Voice("en", Speech(programs.make("espeak-ng", SAYS), player=None), clock)
    voice.say(Spoken(1, "stop"))
    clock.advance(2.0)
    voice.say(tub(2, "butter"))
    voice.start()
    until(programs.said, "something is said")
    voice.close()
    assert programs.said() == ["Put a tub on for butter."]


def test_a_phrase_that_is_none_is_in_the_log_and_the_next_one_is_said(
    programs: Programs, voices: list[Voice], caplog: pytest.LogCaptureFixture
) -> None:
    voice = begun(voices, Speech(programs.make("espeak-ng", SAYS), player=None))
    voice.say(Spoken(1, "no such phrase"))
    voice.say(tub(2, "butter"))
    until(lambda: programs.said() == ["Put a tub on for butter."], "the next one is said")
    assert "'no such phrase' could not be said" in caplog.text


def test_closing_ends_what_is_being_said(programs: Programs) -> None:
    voice = Voice("en", Speech(programs.make("espeak-ng", NEVER_LETS_GO), player=None))
    voice.start()
    voice.say(tub(1, "butter"))
    until(programs.is_running, "it is being said")
    voice.close()
    assert not programs.is_running()


def test_the_children_do_not_inherit_the_service_manager_s_socket(
    programs: Programs, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NOTIFY_SOCKET", "/run/notify")
    program = programs.make("espeak-ng", 'echo "${NOTIFY_SOCKET-none}" >> "{log}"')
    utterance = Utterance(Speech(program, player=None), "en", "Hello.")
    until(lambda: not utterance.is_going_on(), "it ended")
    utterance.end()
    assert programs.said() == ["none"]


def test_a_voice_that_hangs_does_not_hold_up_lights_and_beeps(programs: Programs) -> None:
    settings = CueSettings(pins="mock", lights=Lights(22, 23, 24), buzzer=18, voice="en")
    clock = ManualClock(at=50.0)
    speech = Speech(programs.make("espeak-ng", NEVER_LETS_GO), player=None)
    output = CueOutput(settings, clock, lambda _: None, speech=speech)
    output.start()
    until(lambda: output.board.pins is not None, "pins open")
    output.show(Cue("waiting", "off", None, tub(1, "butter")))
    until(programs.is_running, "the voice hangs")
    assert output.board.pins is not None
    light, buzzer = (output.board.pins.factory.pin(number) for number in (23, 18))
    for serial in range(2, 1000):
        output.show(Cue("pour", "in", 5.0, tub(serial, "salt")))
    until(lambda: light.state and buzzer.state, "light and beep come")
    assert programs.is_running()
    assert output.health() == {"gpio": "ready (mock)", "voice": "ready"}
    output.close()
    assert not light.state
    assert not buzzer.state
    assert not programs.is_running()


def test_a_cue_that_is_shown_again_is_said_once(programs: Programs) -> None:
    output = CueOutput(
        CueSettings(voice="en"), ManualClock(), lambda _: None, speech=Speech(programs.make("espeak-ng", SAYS), None)
    )
    output.start()
    for _ in range(5):
        output.show(Cue("waiting", "off", None, tub(1, "butter")))
    until(programs.said, "said")
    output.show(Cue("waiting", "off", None, tub(2, "salt")))
    until(lambda: len(programs.said()) >= 2, "the next one is said")
    output.close()
    assert programs.said() == ["Put a tub on for butter.", "Put a tub on for salt."]
    assert output.health() == {"gpio": "none in the settings", "voice": "ready"}
