"""The guide in DEVELOPERS.md against the program: what a rule can say is described there, and nothing else."""

from __future__ import annotations

import re

import pytest
from conftest import ROOT

from netcheck.language.gather import GATHER
from netcheck.rulebook.functions import matches_function
from netcheck.rulebook.load import ALLOWED, EXPECTED, NEEDED
from netcheck.rulebook.nouns import NOUN_ATTRIBUTES, PART_ATTRIBUTES, part_attributes
from netcheck.rulebook.shape_load import KEYS
from netcheck.rulebook.verdicts import CONSEQUENCES, CURES, OUTCOMES
from netcheck.rulebook.vocabulary import NOUNS, RuleVocabulary

GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
OTHER_NOUNS = ("contact", "conductor")  # met on the way only, described below the table


def section(heading: str) -> str:
    """The text under a heading, up to the next one of its rank or above."""
    _, found, rest = GUIDE.partition(f"\n### {heading}\n")
    assert found, f"DEVELOPERS.md has no section '{heading}'"
    return re.split(r"\n##+ ", rest, maxsplit=1)[0]


def rows(heading: str) -> dict[str, str]:
    """Rows of the tables of a section: first cell -> whole row."""
    lines = [line for line in section(heading).splitlines() if line.startswith("| `")]
    return {line.split("|")[1].strip(): line for line in lines}


def names(text: str) -> set[str]:
    """Names in backticks."""
    return set(re.findall(r"`([a-z_ ]+)`", text))


def test_every_function_is_described_and_no_other() -> None:
    described = set(re.findall(r"`([a-z_0-9]+)\(", " ".join(rows("Functions"))))
    there = {*RuleVocabulary().functions, matches_function({}).name, *GATHER, "known"}
    assert there - described == set(), "add a row to 'Functions' in DEVELOPERS.md"
    assert described - there == set(), "DEVELOPERS.md describes what is not there"


def test_every_argument_that_is_needed_is_shown() -> None:
    calls = dict(re.findall(r"`([a-z_0-9]+)\(([^`]*)\)`", " ".join(rows("Functions"))))
    for name, function in RuleVocabulary().functions.items():
        needed = sum(parameter.needed for parameter in function.parameters)
        assert len([piece for piece in calls[name].split(",") if piece.strip()]) >= needed, name


def test_every_noun_is_described_and_no_other() -> None:
    described = {noun.strip("`") for noun in rows("Subjects")}
    assert set(NOUNS) - described == set(), "add a row to 'Subjects' in DEVELOPERS.md"
    assert described - set(NOUNS) == set(), "DEVELOPERS.md describes what is not there"


@pytest.mark.parametrize("noun", sorted({noun for noun, other in NOUNS.items() if noun == other and noun != "part"}))
def test_every_attribute_of_a_noun_is_in_its_row(noun: str) -> None:
    missing = set(NOUN_ATTRIBUTES[noun]) - names(rows("Subjects")[f"`{noun}`"])
    assert missing == set(), f"add them to the row of '{noun}' in DEVELOPERS.md"


@pytest.mark.parametrize("noun", OTHER_NOUNS)
def test_every_attribute_met_on_the_way_is_described(noun: str) -> None:
    below = section("Subjects").split("Met on the way")[1]
    assert set(NOUN_ATTRIBUTES[noun]) - names(below) == set()


def test_every_attribute_of_parts_is_described() -> None:
    below = section("Subjects").split("Met on the way")[1]
    assert set(PART_ATTRIBUTES) | set(part_attributes(None)) <= names(below)


def test_every_key_of_rules_and_shapes_is_described() -> None:
    assert {key.strip("`") for key in rows("The keys of a rule")} == {*NEEDED, *ALLOWED}
    assert names(" ".join(key for key in rows("Shapes"))) == {"shape", *KEYS}


def test_needed_keys_are_told_from_others() -> None:
    marked = {key.strip("`"): row.split("|")[2].strip() for key, row in rows("The keys of a rule").items()}
    assert {key for key, said in marked.items() if said == "yes"} == set(NEEDED)


@pytest.mark.parametrize("word", sorted({*CONSEQUENCES, *CURES, *OUTCOMES, *EXPECTED}))
def test_every_closed_word_is_named(word: str) -> None:
    assert re.search(rf"\b{word}\b", GUIDE.split("## The rule language")[1])


def test_the_links_inside_lead_somewhere() -> None:
    anchors = {
        re.sub(r"[^a-z ]", "", line.lower()).strip().replace(" ", "-") for line in re.findall(r"\n##+ (.*)", GUIDE)
    }
    assert set(re.findall(r"\]\(#([^)]+)\)", GUIDE)) <= anchors
