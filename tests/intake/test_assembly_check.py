"""An assembly file against its netlists: what it names is found, and what is not there is told with its place."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from conftest import ROOT
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.ground.problems import Refused
from netcheck.intake.assembly import Spot
from netcheck.intake.assemblycheck import open_assembly
from netcheck.intake.assemblyplaces import Missing, Places
from netcheck.intake.assemblyreading import parse_assembly
from netcheck.intake.reading import read_netlist

FIXTURES = ROOT / "fixtures" / "assemblies"
NETLIST = read_netlist(FIXTURES / "power-lead" / "amp.net", cache=False)
FILE, _ = parse_assembly("assembly: x\nboards: {amp: amp.net}\nchassis: [{part: fuse}]\ncase: {}", "x.yaml")


@pytest.fixture
def box(tmp_path: Path) -> Path:
    for name in ("supply.net", "amp.net"):
        shutil.copy(FIXTURES / "power-lead" / name, tmp_path / name)
    return tmp_path / "box.yaml"


def problems_of(path: Path, text: str) -> list[str]:
    path.write_text(text, encoding="utf-8")
    try:
        open_assembly(path, cache=False)
    except Refused as refused:
        return [str(problem).replace(f"{path}:", "box:") for problem in refused.problems]
    return []


HEAD = "assembly: Box\nboards: {supply: supply.net, amp: amp.net}\n"
MISTAKES = [
    ("cables: [{name: lead, from: suply.J2, to: amp.J1}]", "box:3:29: 'suply.J2' begins with no board"),
    ("cables: [{name: lead, from: supply.J22, to: amp.J1}]", "supply has no part 'J22'; did you mean 'J2'?"),
    ("cables: [{from: supply.J2, to: amp.J1, wires: {1: 9}}]", "amp.J1 has no pin '9'; it is one of: 1, 2, 3, 4, 5"),
    ("cables: [{from: supply.J2, to: amp.J1.1}]", "'amp.J1.1' is a pin; a part is expected, such as amp.J1"),
    ("cables: [{from: amp.J1, to: amp.J1}]", "a cable leads from a connector to itself"),
    (
        "cables: [{name: a, from: supply.J2, to: amp.J1}, {name: b, from: supply.J1, to: amp.J1}]",
        "amp.J1 carries the cable 'a' already",
    ),
    ("cables: [{from: supply.J2, to: amp.J1, screen: {ends at: panel}}]", "'panel' is no end of this cable"),
    (
        "cables: [{from: supply.J2, to: amp.J1, bundled with: signl lead}, "
        "{name: signal lead, from: supply.J1, to: amp.J2}]",
        "there is no other cable 'signl lead'; did you mean 'signal lead'?",
    ),
    ("case: {touched by: [supply.H7]}", "supply has no part 'H7'; it is one of: C1, C2, C3, C4, H1"),
    ("positions: {amp.SW1: open}", "amp has no part 'SW1'"),
    ("volts: {amp: {+15: 15 V}}", "amp has no net '+15'; did you mean '+15V'?"),
    ("volts: {ampp: {+15V: 15 V}}", "there is no board 'ampp'; did you mean 'amp'?"),
    ("signal: {inputs: [{at: amp.J2}]}", "'amp.J2' is a whole part; a pin is expected, such as amp.J2.1"),
    ("chassis: [{part: fuse, wires: {1: studd}}]", "did you mean 'stud'?"),
    ("chassis: [{part: fuse, wires: {1: lamp.1}}, {part: lamp, wires: {2: fuse.3}}]", "fuse has no pin '3'"),
    ("chassis: [{part: amp, kind: fuse}]", "'amp' is the name of a board"),
    ("heatsinks: [{parts: [amp.U1]}, {parts: [amp.U1]}]", "amp.U1 is on the heatsink of line 3 already"),
    ("signal: {inputs: [{at: amp.IN}]}", "'amp.IN' is a net; one of its pins is expected: amp.J2."),
    ("unused: [amp]", "'amp' is a board; a part of it is expected, such as amp.J1"),
]


@pytest.mark.parametrize(("line", "said"), MISTAKES)
def test_what_is_not_there_is_told_with_the_nearest_name(box: Path, line: str, said: str) -> None:
    (told,) = problems_of(box, f"{HEAD}{line}\n")
    assert told.startswith("box:3:") and said in told, told


def test_a_hole_on_no_net_joins_nothing_to_the_case(box: Path) -> None:
    netlist = box.parent / "amp.net"
    netlist.write_text(
        netlist.read_text(encoding="utf-8").replace('(node (ref "H1") (pin "1") (pintype "passive"))', "")
    )
    (told,) = problems_of(box, f"{HEAD}case: {{material: metal, touched by: [supply.H1, amp.H1]}}\n")
    assert told.startswith("box:3:") and "amp.H1 is on no net, so the case joins nothing by it" in told


PIECES = st.lists(st.sampled_from(["chassis", "amp", "J1", "1", "", "case", "fuse", "GND", "🙂"]), max_size=5)


@settings(max_examples=60, deadline=None)
@given(PIECES)
def test_whatever_is_named_is_found_or_missing(pieces: list[str]) -> None:
    places = Places(FILE, {"amp": NETLIST})
    for find in (places.part, places.pin, places.part_or_pin):
        try:
            assert find(Spot(".".join(pieces))).board in ("amp", "chassis")
        except Missing as missing:
            assert str(missing)


def test_a_text_without_end_is_refused_quickly(box: Path) -> None:
    said = problems_of(box, f"{HEAD}unused: ['{'chassis.' * 100_000}']\n")
    assert len(said) == 1 and "has more than 1000 letters" in said[0]


def test_mistakes_of_all_sorts_are_told_together(box: Path) -> None:
    said = problems_of(
        box, HEAD.replace("amp.net", "ampp.net") + "ambientt: 3\ncables: [{from: supply.J9, to: amp.J1}]\n"
    )
    assert len(said) == 3
    assert "there is no netlist 'ampp.net'; did you mean 'amp.net'?" in said[0]


def test_a_sound_file_has_no_problems_and_gives_each_board_its_netlist(box: Path) -> None:
    box.write_text(f"{HEAD}cables: [{{from: supply.J2, to: amp.J1}}]\n", encoding="utf-8")
    assembly, netlists = open_assembly(box, cache=False)
    assert list(netlists) == ["supply", "amp"] and assembly.name == "Box"
    assert {component.reference for component in netlists["supply"].components} >= {"U1", "J2", "H1"}


def test_one_netlist_twice_is_two_boards(box: Path) -> None:
    box.write_text("assembly: Pair\nboards: {left: amp.net, right: amp.net}\n", encoding="utf-8")
    _, netlists = open_assembly(box, cache=False)
    assert netlists["left"] == netlists["right"]


def test_one_netlist_holds_two_boards(box: Path) -> None:
    text = "assembly: Two\nboards: {io: {netlist: amp.net, parts: [J2, J3, H1]}, amp: amp.net}\n"
    box.write_text(text, encoding="utf-8")
    _, netlists = open_assembly(box, cache=False)
    io, amp = netlists["io"], netlists["amp"]
    assert {component.reference for component in io.components} == {"J2", "J3", "H1"}
    assert "J2" not in {component.reference for component in amp.components}
    assert {node.reference for net in io.nets for node in net.nodes} == {"J2", "J3", "H1"}
    assert {"/GND", "/IN", "/OUT"} == {net.name for net in io.nets}


def test_parts_that_belong_to_no_board_or_to_two_are_told(box: Path) -> None:
    none = problems_of(box, "assembly: T\nboards: {io: {netlist: amp.net, parts: [J2]}}\n")
    assert len(none) == 1 and "parts of amp.net belong to no board: C1, C2, H1" in none[0]
    two = problems_of(
        box,
        "assembly: T\nboards: {a: {netlist: amp.net, parts: [J2]}, b: {netlist: amp.net, parts: [J2]}, c: amp.net}\n",
    )
    assert len(two) == 1 and "J2 belongs to the board 'a' already" in two[0]
    wrong = problems_of(box, "assembly: T\nboards: {a: {netlist: amp.net, sheets: [/amp/]}, c: amp.net}\n")
    assert len(wrong) == 1 and "no part is on the sheet '/amp/'" in wrong[0]


@pytest.mark.parametrize("path", sorted(FIXTURES.glob("*/*.yaml")), ids=lambda path: path.stem)
def test_the_small_assemblies_are_sound_files(path: Path) -> None:
    assembly, netlists = open_assembly(path, cache=False)
    assert set(netlists) == {entry.name for entry in assembly.boards}
