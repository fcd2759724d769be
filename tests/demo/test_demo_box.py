"""The whole demo, boards and leads and mains and case, against the lists in fixtures/README.md."""

from __future__ import annotations

import re
from collections.abc import Iterable

import pytest
from conftest import ROOT
from test_demo import listed

from netcheck.intake.assemblycheck import open_assembly
from netcheck.intake.reading import read_netlist
from netcheck.review import BoardPlan, Plan, Review, plan_of, review
from netcheck.rulebook.book import RuleBook
from netcheck.rulebook.verdicts import Verdict

BANDROOM = ROOT / "fixtures" / "bandroom"
BOARDS = ("supply", "amp", "panel")

# Wires of one lead between the same two nets, as one conductor.
_BUNDLE = re.compile(r"(?:cable/)?([^/+ ][^/+]* lead)/\w+/net/\S+ \+ \w+/net/\S+")

Place = tuple[str, frozenset[str]]


def of_amplifier(place: Place) -> Place:
    """A place of the amplifier's own list as the whole box calls it."""
    rule, names = place
    return rule, frozenset(f"amp.{name}" for name in names)


PLANTED = {of_amplifier(place): text for place, text in listed("Revision A of the amplifier alone").items()}
FURTHER = listed("Revision A of the box")


def place_of(verdict: Verdict) -> Place:
    """Rule and places: 'amp.R5', 'amp.U101A', 'amp.left/OUT', a lead by its name, a chassis part by its name."""
    keys = (_BUNDLE.sub(r"cable/\1", key) for key in verdict.keys)
    return verdict.rule, frozenset(_name(piece) for key in keys for piece in key.split(" + "))


def _name(key: str) -> str:
    board, _, rest = key.partition("/")
    if board == "cable":
        return rest.split("/", 1)[0]
    own = "" if board == "chassis" else f"{board}."
    if rest.startswith("net/"):
        return own + rest.removeprefix("net/")
    rest = rest.split(" ", 1)[0] if own else rest  # of a mating: the way it goes together
    pin = re.fullmatch(r"(U\d+)\.(\d)", rest)
    if pin and board == "amp":  # dual op-amps: 1 to 3 are the first unit, 5 to 7 the second
        return f"{own}{pin[1]}{'A' if pin[2] in '123' else 'B' if pin[2] in '567' else ''}"
    return own + rest.split(".", 1)[0].replace(":", "")


def found(verdicts: Iterable[Verdict]) -> set[Place]:
    return {place_of(verdict) for verdict in verdicts if verdict.outcome == "finding"}


@pytest.fixture(scope="module")
def boxes(book: RuleBook) -> dict[str, Review]:
    reviewed = {}
    for revision in ("a", "b"):
        assembly, netlists = open_assembly(BANDROOM / f"revision-{revision}" / "bandroom.yaml", cache=False)
        reviewed[revision] = review(plan_of(assembly, netlists, book))
    return reviewed


@pytest.mark.parametrize("place", FURTHER, ids=lambda place: f"{place[0]} at {' and '.join(sorted(place[1]))}")
def test_each_further_mistake_is_found(place: Place, boxes: dict[str, Review]) -> None:
    assert place in found(boxes["a"].verdicts)


def test_the_mistakes_of_the_amplifier_are_found_in_the_box_too(boxes: dict[str, Review]) -> None:
    assert set(PLANTED) - found(boxes["a"].verdicts) == set()


def test_nothing_but_what_was_planted_is_found(boxes: dict[str, Review]) -> None:
    assert found(boxes["a"].verdicts) - set(PLANTED) - set(FURTHER) == set()


def test_revision_a_is_held_at_both_gates(boxes: dict[str, Review]) -> None:
    assert {gate.state for gate in boxes["a"].gates.values()} == {"held"}


def test_nothing_is_found_in_revision_b_and_both_gates_are_released(boxes: dict[str, Review]) -> None:
    findings = [f"{v.rule}: {v.sentence}" for v in boxes["b"].verdicts if v.outcome == "finding"]
    assert findings == []
    assert {gate.state for gate in boxes["b"].gates.values()} == {"released"}


def test_nothing_is_left_open_in_revision_b(boxes: dict[str, Review]) -> None:
    undecided = [f"{v.rule}: {v.keys}: {v.reasons}" for v in boxes["b"].verdicts if v.outcome == "undecided"]
    assert undecided == []


def test_cables_settle_what_a_lone_board_asks(boxes: dict[str, Review], book: RuleBook) -> None:
    """What the volume control is joined to is a question of the panel alone; the box tells it."""
    path = BANDROOM / "revision-b" / "panel.net"
    alone = review(Plan("panel", (BoardPlan("panel", read_netlist(path, cache=False)),), book))
    asked = {v.rule for v in alone.verdicts if v.outcome == "undecided"}
    assert asked, "the panel alone asks nothing"
    assert not [v for v in boxes["b"].verdicts if v.outcome == "undecided" and v.rule in asked]


@pytest.mark.parametrize("board", BOARDS)
def test_each_board_of_revision_b_is_sound_alone(board: str, book: RuleBook) -> None:
    netlist = read_netlist(BANDROOM / "revision-b" / f"{board}.net", cache=False)
    reviewed = review(Plan(board, (BoardPlan(board, netlist),), book))
    assert found(reviewed.verdicts) == set()


def test_the_rails_come_from_the_regulators(boxes: dict[str, Review]) -> None:
    """The amplifier's rails take the 14.9 V that the supply's dividers set, over the power lead and its beads."""
    nets = {f"{net.board}.{net.name}": net for net in boxes["b"].circuit.nets.values()}
    for rail, volts in (("supply.+15V", 14.86), ("amp.+15V", 14.86), ("amp.-15V", -14.86), ("panel.+15V", 14.86)):
        assert nets[rail].role == "rail" and nets[rail].volts == pytest.approx(volts, abs=0.05), rail


def test_every_part_of_the_box_has_a_kind(boxes: dict[str, Review]) -> None:
    for reviewed in boxes.values():
        assert [part.key for part in reviewed.circuit.parts.values() if part.kind == "unknown"] == []
