"""The command `scaled`: finds the command that was asked for, and turns every error into one line and an exit code.

Commands are loaded when they are called, not before: a person waits for each import. A command returns nothing, or
its exit code; it raises `ScaledError` for what a person can put right. Data goes to standard output, talk to standard
error, and a traceback to nobody, unless SCALED_DEBUG is set.
"""

from __future__ import annotations

import errno
import io
import os
import re
import sys

import click

from scaled.commands.lazy import LazyGroup
from scaled.commands.options import config_option
from scaled.errors import ScaledError

COMMANDS = {
    "run": ("scaled.commands.run:run", "Guide the cook at the bench: the daemon."),
    "demo": ("scaled.commands.demo:demo", "Play one batch on a simulated bench."),
    "replay": ("scaled.commands.replay:replay", "Put a recorded trace of a scale through the same rules."),
    "formula": ("scaled.commands.formula:formula", "Check, plan and correct formulas."),
    "batch": ("scaled.commands.batch:batch", "Look back: what went into which batch."),
    "scale": ("scaled.commands.scale:scale", "Find out how a scale speaks."),
    "doctor": ("scaled.commands.doctor:doctor", "Say what would stop this bench from working."),
    "off": ("scaled.commands.off:off", "Switch the lights and the buzzer off."),
}

WRONG_USAGE = 2
INTERNAL_ERROR = 70  # EX_SOFTWARE of sysexits.h
CANNOT_WRITE = 74  # EX_IOERR
INTERRUPTED = 130  # 128 + SIGINT, as shells count
PIPE_CLOSED = 141  # 128 + SIGPIPE
OUTPUT_GONE = {errno.EPIPE, errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EBADF}  # its reader, its disk, or itself


def _show_version(context: click.Context, _parameter: click.Parameter, wanted: bool) -> None:  # noqa: FBT001
    if wanted:
        from importlib.metadata import version

        click.echo(f"scaled {version('scaled')}")
        context.exit()


@click.group(
    cls=LazyGroup, later=COMMANDS, no_args_is_help=False, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.option(
    "--version", is_flag=True, expose_value=False, is_eager=True, callback=_show_version, help="Show the version."
)
@config_option
def scaled(config: str | None) -> None:
    """The bench companion: guides a pastry cook through scaling out a formula to the gram.

    Not a legal-for-trade instrument, and no food-safety system.
    """


def main(arguments: list[str] | None = None) -> int:
    """Run one command and return its exit code."""
    _open_closed()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    try:
        code = _run(sys.argv[1:] if arguments is None else arguments)
        sys.stdout.flush()
    except (KeyboardInterrupt, click.Abort):
        return INTERRUPTED
    except OSError as error:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # the interpreter flushes once more at its end
        if error.errno == errno.EPIPE:
            return PIPE_CLOSED
        return _say((f"cannot write the output: {error.strerror}",), CANNOT_WRITE)
    return code


def _open_closed() -> None:
    """Open the standard streams that are closed, so that no file of ours gets their number.

    Data would vanish unsaid, so whatever writes it fails; talk that nobody wants to hear may go nowhere.
    """
    for name, opened, mode in (("stdin", os.O_RDONLY, "r"), ("stdout", os.O_RDONLY, "w"), ("stderr", os.O_WRONLY, "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, os.fdopen(os.open(os.devnull, opened), mode, encoding="utf-8"))


def _run(arguments: list[str]) -> int:
    try:
        with scaled.make_context("scaled", list(arguments)) as context:
            result = scaled.invoke(context)
            return result if isinstance(result, int) else 0
    except click.exceptions.Exit as end:
        return end.exit_code
    except ScaledError as error:
        return _say(error.each(), error.exit_code)
    except click.UsageError as error:
        where = error.ctx.command_path if error.ctx else "scaled"
        return _say((f"{error.format_message().rstrip('.')}: see '{where} --help'",), WRONG_USAGE)
    except click.ClickException as error:
        return _say((error.format_message(),), WRONG_USAGE)
    except click.Abort:
        raise
    except Exception as error:
        if isinstance(error, OSError) and error.filename is None and error.errno in OUTPUT_GONE:
            raise
        if os.environ.get("SCALED_DEBUG"):
            import traceback

            traceback.print_exc()
        what = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
        return _say((f"internal error, please report it: {what} (SCALED_DEBUG=1 shows where)",), INTERNAL_ERROR)


def _say(mistakes: tuple[object, ...], code: int) -> int:
    """One line on standard error for each mistake, whatever its message holds."""
    for mistake in mistakes:
        line = re.sub(r"\s*[\r\n\t]+\s*", " ", str(mistake))
        click.echo("".join(c if c.isprintable() else ascii(c)[1:-1] for c in line), err=True)
    return code
