"""Each generation's way of saying a thing ends in the same place of a `Netlist`."""

from __future__ import annotations

from pathlib import Path

import pytest

from netcheck.ground.problems import Refused
from netcheck.intake.contents import read_contents
from netcheck.intake.netlist import Component, LibraryPin, Netlist, Node, Unit
from netcheck.intake.scan import scan
from netcheck.intake.text import decode

FIXTURES = Path(__file__).parents[2] / "fixtures" / "netlists"


def contents(name: str) -> Netlist:
    text, _ = decode((FIXTURES / f"{name}.net").read_bytes(), f"{name}.net")
    return read_contents(scan(text, f"{name}.net")[0], f"{name}.net", "")


def read(text: str) -> Netlist:
    return read_contents(scan(text, "amp.net")[0], "amp.net", "")


def part(netlist: Netlist, reference: str) -> Component:
    return next(component for component in netlist.components if component.reference == reference)


def node(netlist: Netlist, reference: str, pin: str) -> Node:
    return next(n for net in netlist.nets for n in net.nodes if (n.reference, n.pin) == (reference, pin))


def test_generation_4_names_pins_through_library_part_and_alias() -> None:
    netlist = contents("generation-4")
    assert (node(netlist, "U1", "8").name, node(netlist, "U1", "8").type) == ("V+", "power_in")
    assert (node(netlist, "U1", "1").name, node(netlist, "U1", "1").type) == ("", "output")
    assert node(netlist, "RV1", "2").name == "W1"  # the library part is spelt VRx2
    assert len(part(netlist, "U1").library_pins) == 8
    assert part(netlist, "U1").description == "Dual operational amplifier"
    assert not node(netlist, "U1", "1").flagged_open


def test_generation_4_tells_design_fields_sheet_and_line() -> None:
    netlist = contents("generation-4")
    assert (netlist.version, netlist.tool) == ("D", "Eeschema 4.0.6")
    assert netlist.source == "/home/bench/bandroom/amp.sch"
    assert netlist.date == "Sat 20 May 2017 02:57:23 AM CEST"
    assert netlist.notes == ("title block: Bandroom monitor, amplifier, revision A, 2017-05-20",)
    resistor = part(netlist, "R12")
    assert resistor.fields == (("Config", "DNP"), ("Order code", "MF 4k7 1%"))
    assert (resistor.sheet, resistor.line, resistor.timestamps) == ("/gain/", 21, ("590BA907",))
    assert part(netlist, "RV1").properties == (("datasheet", "volume.pdf"),)
    assert part(netlist, "U1").sheet == "/"


def test_nets_without_a_name_are_told_apart_by_code() -> None:
    netlist = contents("generation-2013")
    assert [(net.code, net.name, len(net.nodes)) for net in netlist.nets] == [
        ("1", "", 1),
        ("2", "", 2),
        ("3", "GND", 1),
    ]
    assert netlist.oddities == ()
    assert node(netlist, "D1", "2").name == "K"


def test_words_without_quotes() -> None:
    netlist = contents("generation-5-words-without-quotes")
    assert part(netlist, "U2").value == 'DKE"'
    assert part(netlist, "U2").description == 'It\'s the "shift" register, (8 bit)'
    assert [net.name for net in netlist.nets] == ["/CS\\", "Net-(U2-Pad9)"]
    assert (node(netlist, "U2", "1").name, node(netlist, "U2", "9").name) == ("CS\\", "QH'")


def test_flags_are_properties_of_the_editor_and_not_fields_of_the_user() -> None:
    netlist = contents("generation-6-flags")
    assert part(netlist, "R13").flags == {"not fitted", "not in the bill"}
    assert part(netlist, "H1").flags == {"not on the board"}
    assert part(netlist, "R14").flags == frozenset()
    assert part(netlist, "R14").fields == (("DNP", ""),)
    assert ("Sheetfile", "amp.kicad_sch") in part(netlist, "R13").properties
    assert part(netlist, "U1").timestamps == ("3f1c0b54", "3f1c0b55", "3f1c0b56")


def test_only_what_the_designer_marked_is_open_on_purpose() -> None:
    netlist = contents("generation-6-flags")
    marked, forgotten = node(netlist, "U1", "5"), node(netlist, "U1", "6")
    assert (marked.flagged_open, marked.type, marked.name) == (True, "input", "+")
    # The editor calls its net "unconnected-…" as well, but nobody put a mark on it.
    assert (forgotten.flagged_open, forgotten.type) == (False, "input")


def test_generation_9_joins_descriptions_and_keeps_classes() -> None:
    netlist = contents("generation-9-classes")
    regulator = part(netlist, "U3")
    assert regulator.description == "15 V regulator on the heat sink; Positive 1A regulator, fixed 15V"
    assert ("component class", "hot") in regulator.properties
    assert ("MPN", "LM7815CT") in regulator.fields and ("MPN", "LM7815CT") not in regulator.properties
    assert [net.net_class for net in netlist.nets] == ["Power", "Default", "Default"]
    assert (node(netlist, "U3", "1").name, node(netlist, "U3", "1").type) == ("VI", "power_in")


def test_generation_10_tells_units_and_takes_numbers_off_pin_names() -> None:
    netlist = contents("generation-10")
    assert part(netlist, "U1").units == (Unit("A", ("1", "2", "3")), Unit("C", ("4", "8")))
    assert node(netlist, "U1", "2").name == "-"
    assert node(netlist, "U1", "8").name == "V+_8"  # the library itself calls it so
    assert node(netlist, "JP1", "1").name == "A"
    assert node(netlist, "JP1", "1").flagged_open
    assert part(netlist, "U1").library_pins[0] == LibraryPin("1", "", "output")
    assert any("jumper_pin_groups" in note and "JP1" in note for note in netlist.notes)
    assert any("'(groups …)'" in note for note in netlist.notes)
    assert not any("variants" in note for note in netlist.notes)  # there and empty


def test_other_writers_may_leave_things_out() -> None:
    netlist = contents("other-writer")
    assert (part(netlist, "R1").value, part(netlist, "R2").value) == (None, "")
    assert part(netlist, "R1").footprint == "R_0805"
    assert part(netlist, "R1").fields == (("Cost", "0.02"),)
    assert part(netlist, "R2").flags == {"not fitted", "not in the bill"}
    assert [(net.code, net.name, len(net.nodes)) for net in netlist.nets] == [
        ("1", "IN", 1),
        ("2", "SPARE", 0),
        ("#3", "OUT", 2),
    ]
    assert netlist.version == ""


def test_oddities_are_kept_with_the_later_line() -> None:
    netlist = contents("oddities")
    assert [(odd.what, odd.reference, odd.pin, odd.nets, odd.line) for odd in netlist.oddities] == [
        ("pin listed twice", "D5", "3", ("1",), 12),
        ("pin on two nets", "R1", "1", ("1", "2"), 14),
        ("node of a missing part", "Q9", "2", ("2",), 15),
    ]
    assert sum(len(net.nodes) for net in netlist.nets) == 5


@pytest.mark.parametrize(
    ("name", "line", "words"),
    [
        ("duplicate-reference", 5, "'R1' is here for the second time, after line 4"),
        ("component-in-a-component", 4, "'(comp' stands inside '(comp' of line 3"),
        ("no-nets", 1, "the netlist has no '(nets …)'"),
        ("no-components", 1, "lists no components"),
        ("no-reference", 3, "this component has no reference"),
        ("no-pin", 6, "this node has no pin number"),
        ("code-twice", 6, "the code 1 is given to two nets, here and in line 5"),
    ],
)
def test_damage_is_refused(name: str, line: int, words: str) -> None:
    with pytest.raises(Refused) as refusal:
        contents(f"refused/{name}")
    (problem,) = refusal.value.problems
    assert problem.line == line
    assert words in problem.what


@pytest.mark.parametrize(
    ("answer", "flags"), [("", {"not fitted"}), ('(value "1")', {"not fitted"}), ('(value "no")', set())]
)
def test_a_flag_that_says_no_is_none(answer: str, flags: set[str]) -> None:
    netlist = read(f'(export (components (comp (ref R1) (property (name "dnp") {answer}))) (nets))')
    assert netlist.components[0].flags == flags


def test_notes_on_unread_clauses_are_bounded() -> None:
    clauses = "".join(f"(news_{number} 1)" for number in range(500))
    netlist = read(f"(export (components (comp (ref R1))) (nets) {clauses})")
    assert len(netlist.notes) <= 21
    assert netlist.notes[-1] == "480 more clauses were not read"
