"""The frame of the commands: what is told where, and what a command ends with."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from scaled.cli import COMMANDS

PLANTED = """
import sys, time
import click
from scaled.commands.options import config_option, json_option
from scaled.errors import *

@click.group()
def planted(): pass

@planted.command()
def fine():
    click.echo("the data")
    click.echo("the talk", err=True)

@planted.command()
@click.argument("name")
def fail(name):
    here = Place("dough.yaml", 3, 7)
    raise {
        "invalid": Invalid("salt is -3 g: give what goes in", here),
        "mistakes": Mistakes((Invalid("one", here), Invalid("two"), Invalid("th\\nree\\x1b[2J"))),
        "usage": WrongUsage("no batch 'x'"), "no scale": NoScale("none"), "records": RecordsUnusable("disk full"),
        "busy": Busy("port taken"), "settings": WrongSettings("no such key"),
        "bug": ZeroDivisionError("weight"), "bug without words": AssertionError(),
        "interrupt": KeyboardInterrupt(), "foreign": click.ClickException("no such thing"),
    }[name]

@planted.command()
@click.argument("case", type=click.Choice(["plain", "overpour"]))
def choose(case): pass

@planted.command()
def code(): return 1

@planted.command()
def flood():
    while True: click.echo("x" * 1000)

@planted.command()
def wait():
    click.echo("waiting"); sys.stdout.flush()
    time.sleep(60)

@planted.command()
@config_option
@json_option
def told(config, as_json): click.echo(f"{config} {as_json}")
"""
START = (
    "import sys; from scaled import cli; cli.COMMANDS['planted'] = ('planted_commands:planted', 'For this test.'); "
    "sys.exit(cli.main())"
)


@pytest.fixture
def call(tmp_path: Path) -> list[str]:
    (tmp_path / "planted_commands.py").write_text(PLANTED)
    return ["/usr/bin/env", f"PYTHONPATH={tmp_path}", sys.executable, "-c", START, "planted"]


def ends(call: list[str], *arguments: str, **environment: str) -> tuple[int, str, str]:
    done = subprocess.run(
        [*call, *arguments], capture_output=True, text=True, check=False, timeout=30, env={**os.environ, **environment}
    )
    return done.returncode, done.stdout, done.stderr


def scaled(*arguments: str) -> tuple[int, str, str]:
    return ends([sys.executable, "-m", "scaled"], *arguments)


def test_data_and_talk_are_kept_apart(call: list[str]) -> None:
    assert ends(call, "fine") == (0, "the data\n", "the talk\n")


@pytest.mark.parametrize(
    ("name", "code", "line"),
    [
        ("invalid", 1, "dough.yaml:3:7: salt is -3 g: give what goes in"),
        ("usage", 2, "no batch 'x'"),
        ("no scale", 69, "none"),
        ("records", 74, "disk full"),
        ("busy", 75, "port taken"),
        ("settings", 78, "no such key"),
        ("bug", 70, "internal error, please report it: ZeroDivisionError: weight (SCALED_DEBUG=1 shows where)"),
        ("bug without words", 70, "internal error, please report it: AssertionError (SCALED_DEBUG=1 shows where)"),
        ("foreign", 2, "no such thing"),
    ],
)
def test_an_error_is_one_line_on_standard_error_and_an_exit_code(
    call: list[str], name: str, code: int, line: str
) -> None:
    assert ends(call, "fail", name) == (code, "", line + "\n")


def test_each_mistake_is_one_line_whatever_is_in_it(call: list[str]) -> None:
    assert ends(call, "fail", "mistakes") == (1, "", "dough.yaml:3:7: one\ntwo\nth ree\\x1b[2J\n")


def test_a_traceback_is_shown_to_those_who_ask_for_it(call: list[str]) -> None:
    code, out, err = ends(call, "fail", "bug", SCALED_DEBUG="1")
    assert (code, out) == (70, "")
    assert "Traceback" in err


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (["choose", "brunch"], "Invalid value for '{plain|overpour}'"),
        (["choose"], "Missing argument '{plain|overpour}'"),
        (["fine", "--loud"], "No such option"),
        (["fine", "more"], "Got unexpected extra argument"),
        (["nothing"], "No such command 'nothing'"),
    ],
)
def test_wrong_usage_is_one_line_that_names_the_help(call: list[str], arguments: list[str], line: str) -> None:
    code, out, err = ends(call, *arguments)
    assert (code, out) == (2, "")
    assert err.startswith(line)
    assert err.count("\n") == 1
    assert "see 'scaled planted" in err


def test_a_command_may_return_its_exit_code(call: list[str]) -> None:
    assert ends(call, "code")[0] == 1


def test_an_interrupt_ends_quietly(call: list[str]) -> None:
    assert ends(call, "fail", "interrupt") == (130, "", "")
    with subprocess.Popen([*call, "wait"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as waiting:
        assert waiting.stdout.readline() == "waiting\n"
        waiting.send_signal(signal.SIGINT)
        out, err = waiting.communicate(timeout=30)
        assert (waiting.returncode, out, err) == (130, "", "")


def test_a_reader_that_has_seen_enough_ends_it_quietly(call: list[str]) -> None:
    with subprocess.Popen([*call, "flood"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as flooding:
        flooding.stdout.readline()
        flooding.stdout.close()
        assert flooding.stderr.read() == ""
        assert flooding.wait(timeout=30) == 141


def test_a_full_disk_is_one_line(call: list[str]) -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run([*call, "fine"], stdout=full, stderr=subprocess.PIPE, text=True, check=False, timeout=30)
    assert (done.returncode, done.stderr) == (74, "cannot write the output: No space left on device\n")


@pytest.mark.parametrize("closing", [">&-", "1</dev/null"])
def test_data_that_nobody_can_get_is_said(call: list[str], closing: str) -> None:
    closed = ["/bin/sh", "-c", f'exec "$@" {closing}', "sh", *call]
    assert ends([*closed, "fine"]) == (74, "", "cannot write the output: Bad file descriptor\n")
    assert ends([*closed, "code"]) == (1, "", "")


@pytest.mark.parametrize("closing", ["2>&-", "<&-", "<&- 2>&-"])
def test_without_the_other_streams_it_still_ends_well(call: list[str], closing: str) -> None:
    closed = ["/bin/sh", "-c", f'exec "$@" {closing}', "sh", *call]
    assert ends([*closed, "fine"])[:2] == (0, "the data\n")
    assert ends([*closed, "fail", "usage"])[:2] == (2, "")


def test_the_nearest_config_option_wins(call: list[str]) -> None:
    root = [*call[:-1], "--config", "a.yaml", call[-1]]
    assert ends(call, "told")[1] == "None False\n"
    assert ends(root, "told", "--json")[1] == "a.yaml True\n"
    assert ends(root, "told", "--config", "b.yaml")[1] == "b.yaml False\n"


def test_the_version_is_the_projects() -> None:
    assert scaled("--version") == (0, "scaled 0.1.0\n", "")


def test_help_lists_every_command_without_loading_one() -> None:
    code, out, err = scaled("--help")
    assert (code, err) == (0, "")
    assert "Not a legal-for-trade" in out
    assert [name for name in COMMANDS if f"\n  {name} " in out] == list(COMMANDS)
    script = (
        "import sys; from scaled.cli import main; main(['--help']); print(*sys.modules, sep='\\n', file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    loaded = set(done.stderr.split())
    assert {"click", "scaled.cli"} <= loaded
    assert not loaded & {where.partition(":")[0] for where, _ in COMMANDS.values()}
    assert not loaded & {"flask", "yaml", "pint", "serial", "gpiozero", "sqlite3"}


@pytest.mark.parametrize("arguments", [[], ["brew"], ["--colour"]])
def test_nothing_asked_or_nothing_known_is_wrong_usage(arguments: list[str]) -> None:
    code, out, err = scaled(*arguments)
    assert (code, out) == (2, "")
    assert err.endswith("see 'scaled --help'\n")
    assert err.count("\n") == 1


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_that_is_listed_loads_and_explains_itself(name: str) -> None:
    code, out, err = scaled(name, "--help")
    assert (code, err) == (0, "")
    assert f"scaled {name}" in out


def test_a_terminal_that_cannot_show_a_sign_gets_its_number_instead(call: list[str]) -> None:
    code, _, err = ends(call, "a → b", PYTHONIOENCODING="latin-1:strict")
    assert code == 2
    assert "No such command 'a \\u2192 b'" in err
