"""The demo's amplifier board against the lists in fixtures/README.md: what is planted is found, and nothing else."""

from __future__ import annotations

import re
from collections.abc import Iterable

import pytest
from conftest import ROOT

from netcheck.intake.reading import read_netlist
from netcheck.report.grouping import questions
from netcheck.review import BoardPlan, Plan, Review, review
from netcheck.rulebook.book import RuleBook
from netcheck.rulebook.verdicts import Verdict

README = ROOT / "fixtures" / "README.md"
MOST_UNDECIDED_GROUPS = 10

Place = tuple[str, frozenset[str]]  # a rule, and the parts, amplifiers or nets that it speaks of


def listed(heading: str) -> dict[Place, str]:
    """The rows of the table under a heading: (rule, places) -> what the middle column says.

    A row may hold several verdicts, with ';' between them; a verdict on several parts names them with ',' between.
    """
    section = README.read_text(encoding="utf-8").split(f"\n## {heading}", 1)[1].split("\n## ", 1)[0]
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in section.splitlines() if line[:1] == "|"]
    assert rows[0][0] == "place" and rows[0][2] == "rule", f"the table under '{heading}' has other columns"
    told = [((rule, frozenset(place.split(", "))), text) for cell, text, rule in rows[2:] for place in cell.split("; ")]
    assert len({place for place, _ in told}) == len(told), f"something under '{heading}' is there twice"
    return dict(told)


def place_of(verdict: Verdict) -> Place:
    """Rule and places of a verdict, from its keys.

    An amplifier is named with its unit, and so is an input pin of one; another pin gives its part.
    """
    names = {_name(piece) for key in verdict.keys for piece in key.split(" + ")}
    return verdict.rule, frozenset(names)


def _name(key: str) -> str:
    rest = key.removeprefix("amp/")
    if rest.startswith("net/"):
        return rest.removeprefix("net/")
    if rest.startswith("net of "):
        return rest
    rest = rest.split(" ", 1)[0]  # of a mating: the way it goes together
    pin = re.fullmatch(r"(U\d+)\.(\d)", rest)
    if pin:  # dual op-amps: 1 to 3 are the first unit, 5 to 7 the second
        return pin[1] + ("A" if pin[2] in "123" else "B" if pin[2] in "567" else "")
    return rest.split(".", 1)[0].replace(":", "")


def places(verdicts: Iterable[Verdict], outcome: str) -> set[Place]:
    return {place_of(verdict) for verdict in verdicts if verdict.outcome == outcome}


@pytest.fixture(scope="module")
def reviewed(book: RuleBook) -> dict[str, Review]:
    found = {}
    for revision in ("a", "b"):
        path = ROOT / "fixtures" / "bandroom" / f"revision-{revision}" / "amp.net"
        board = BoardPlan("amp", read_netlist(path, cache=False))
        found[revision] = review(Plan("amp", (board,), book))
    return found


PLANTED = listed("Revision A of the amplifier alone") | listed("Revision A without a stated passband")


@pytest.mark.parametrize("place", PLANTED, ids=lambda place: f"{place[0]} at {' and '.join(sorted(place[1]))}")
def test_each_planted_mistake_is_found(place: Place, reviewed: dict[str, Review]) -> None:
    found = places(reviewed["a"].verdicts, "finding")
    assert place in found


def test_nothing_but_the_planted_mistakes_is_found(reviewed: dict[str, Review]) -> None:
    assert places(reviewed["a"].verdicts, "finding") - set(PLANTED) == set()


def test_each_planted_mistake_has_a_rule_of_its_own() -> None:
    assert 10 <= len(PLANTED) == len({rule for rule, _ in PLANTED})


def test_revision_a_is_held_at_both_gates(reviewed: dict[str, Review]) -> None:
    assert {gate.state for gate in reviewed["a"].gates.values()} == {"held"}


def test_nothing_is_found_in_revision_b(reviewed: dict[str, Review]) -> None:
    findings = [verdict for verdict in reviewed["b"].verdicts if verdict.outcome == "finding"]
    assert [f"{verdict.rule}: {verdict.sentence}" for verdict in findings] == []


def test_what_is_undecided_in_revision_b_is_listed(reviewed: dict[str, Review]) -> None:
    undecided = [verdict for verdict in reviewed["b"].verdicts if verdict.outcome == "undecided"]
    reasons = listed("Revision B of the amplifier alone")
    assert places(undecided, "undecided") == set(reasons)
    for verdict in undecided:  # … stands for names of nets
        assert all(piece in "; ".join(verdict.reasons) for piece in reasons[place_of(verdict)].split("…"))


def test_few_questions_are_left_in_revision_b(reviewed: dict[str, Review]) -> None:
    groups = questions(reviewed["b"].verdicts, reviewed["b"].circuit)
    assert len(groups) <= MOST_UNDECIDED_GROUPS


def test_both_revisions_are_understood(reviewed: dict[str, Review]) -> None:
    """In both, every part has a kind and every pin of an active part a role, whatever was planted."""
    actives_of = {"a": 15, "b": 16}  # revision A lacks a diode
    for revision, result in reviewed.items():
        circuit = result.circuit
        assert [part.ref for part in circuit.parts.values() if part.kind == "unknown"] == []
        actives = [part for part in circuit.parts.values() if part.kind in ("opamp", "npn", "pnp", "diode", "relay")]
        assert len(actives) == actives_of[revision]
        assert [pin.key for part in actives for pin in part.pins if not pin.role] == []
        rails = {net.name for net in circuit.nets.values() if net.role == "rail"}
        assert rails >= {"+15V", "-15V", "left/+15VA", "right/-15VA"}
