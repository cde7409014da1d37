"""What can go wrong, sorted by what the caller must do about it.

One base and a child for each exit code. A message says what was given, what is wrong with it and what to do; where
it has a place (`file:line:column`) the place is carried apart, and `str()` puts it in front. Errors of other
libraries are translated at the edge of the room that calls them, `from` the original.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, order=True)
class Place:
    """A position in a text: the file as the user named it, line and column counted from 1."""

    file: str
    line: int
    column: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


class ScaledError(Exception):
    """Anything that a user is told in one line; `exit_code` is what a command ends with."""

    exit_code = 1

    def __init__(self, message: str, place: Place | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.place = place

    def __str__(self) -> str:
        return f"{self.place}: {self.message}" if self.place else self.message

    def each(self) -> tuple[ScaledError, ...]:
        """The errors that are told, each in a line: this one, or all the mistakes that it stands for."""
        return (self,)


class Invalid(ScaledError):
    """The thing asked about is wrong: a formula with a mistake, a record that does not verify."""

    exit_code = 1


class Mistakes(Invalid):
    """Several mistakes found in one reading of a file, each with its place; `str()` has one line for each."""

    def __init__(self, mistakes: tuple[Invalid, ...]) -> None:
        if not mistakes:
            raise ValueError("Mistakes needs at least one mistake")
        super().__init__(mistakes[0].message, mistakes[0].place)
        self.mistakes = mistakes

    def __str__(self) -> str:
        return "\n".join(str(mistake) for mistake in self.mistakes)

    def each(self) -> tuple[ScaledError, ...]:
        return self.mistakes


class WrongUsage(ScaledError):
    """A command was called wrongly: a name that fits nothing, a file that cannot be read."""

    exit_code = 2


class NoScale(ScaledError):
    """A one-shot command that needs a scale found none."""

    exit_code = 69


class RecordsUnusable(ScaledError):
    """The records cannot be read or written."""

    exit_code = 74


class Busy(ScaledError):
    """Another process has the port or the records."""

    exit_code = 75


class WrongSettings(ScaledError):
    """The settings are wrong or absent, or the records were written by a newer version."""

    exit_code = 78


class MistakenSettings(WrongSettings, Mistakes):
    """Several mistakes found in one reading of the settings, each with its place."""
