"""Real exports, reviewed, and what their designers would say of each finding."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path

import pytest
import yaml

from netcheck.intake.contents import read_contents
from netcheck.intake.netlist import Netlist
from netcheck.intake.reading import read_netlist
from netcheck.intake.scan import scan
from netcheck.intake.text import decode
from netcheck.review import BoardPlan, Plan, Review, review
from netcheck.rulebook.book import load_rule_book

CORPUS = Path(__file__).parents[3] / "shared" / "netlists"
EXPORTS = sorted(CORPUS.glob("*.net"))
EXPECTED = Path(__file__).with_name("expected.yaml")
LABELS = ("true", "arguable", "false")
# kinparse takes ten minutes for all of them, the scan (which is held against kinparse elsewhere) two seconds.
WITH_KINPARSE = os.environ.get("NETCHECK_WHOLE_CORPUS") == "1"

needs_corpus = pytest.mark.skipif(not EXPORTS, reason=f"the corpus of real exports is not at {CORPUS}")


@dataclass(frozen=True)
class Labelled:
    """A finding as the designer of the board judged it: true, arguable or false, and why."""

    rule: str
    at: str
    label: str
    because: str


@dataclass(frozen=True)
class Expected:
    """A board of which every finding has been judged.

    Attributes:
        sound: it works as drawn, so that little may stand on the first screen.
        missed: faults that were seen by hand and that no rule finds.
    """

    file: str
    sha256: str
    about: str
    sound: bool
    findings: tuple[Labelled, ...]
    missed: tuple[str, ...]


@lru_cache(maxsize=1)
def expected_boards() -> tuple[Expected, ...]:
    found = yaml.load(EXPECTED.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)
    return tuple(_expected(entry) for entry in found)


def _expected(entry: dict) -> Expected:
    return Expected(
        file=entry["file"],
        sha256=entry["sha256"],
        about=entry["about"],
        sound=entry["sound"] == "yes",
        findings=tuple(
            Labelled(found["rule"], place, found["label"], found["because"])
            for found in entry.get("findings", [])
            for place in found["at"]
        ),
        missed=tuple(entry.get("missed", [])),
    )


@cache
def netlist_of(file: str) -> Netlist:
    path = CORPUS / file
    if WITH_KINPARSE:
        return read_netlist(path)
    data = path.read_bytes()
    text, _ = decode(data, path.name)
    return read_contents(scan(text, path.name)[0], path.name, hashlib.sha256(data).hexdigest())


@cache
def review_of(file: str) -> Review:
    """The review of one board on its own, under the name `b`."""
    return review(Plan(file.removesuffix(".net"), (BoardPlan("b", netlist_of(file)),), _book()))


@lru_cache(maxsize=1)
def _book():
    return load_rule_book()
