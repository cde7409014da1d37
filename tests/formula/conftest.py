"""A kitchen without files: formulas from texts, each with a stem, over the installed ingredient table."""

import sys
from fractions import Fraction
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from scaled.catalogue import installed_table
from scaled.formula.file import read_formula


class Shelf:
    """Formulas by stem, as texts; reads them with the same table."""

    def __init__(self, texts=(), users=()):
        self.texts = dict(texts)
        self.users = users

    def stems(self):
        return tuple(self.texts)

    def formula(self, stem):
        return read_formula(self.texts[stem], f"{stem}.yaml", stem, installed_table(), Shelf(self.texts)).formula


@pytest.fixture(scope="session")
def shelf():
    return Shelf


@pytest.fixture(scope="session")
def read():
    """Read a formula's text; `within` holds the texts of others, by stem."""

    def read(content, within=(), mass_mg=None, table=None):
        return read_formula(content, "dough.yaml", "dough", table or installed_table(), Shelf(within), mass_mg=mass_mg)

    return read


@pytest.fixture(scope="session")
def one(read):
    """The formula of one line of additions, or several, in one stage."""

    def one(*lines, top="", mass_mg=None, within=()):
        return read(dough(*lines, top=top), within, mass_mg).formula

    return one


def dough(*lines, top=""):
    body = "\n".join(f"      - {{{line}}}" for line in lines)
    return f"formula: Dough\n{top}stages:\n  - stage: all\n    additions:\n{body}\n"


def grams(*values):
    """Exact milligrams of grams given as text or numbers."""
    return tuple(Fraction(str(value)) * 1_000 for value in values)
