"""Boards joined by an assembly: chassis nets, wires, what boards tell each other, whatever the order."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import replace

import pytest
from conftest import ROOT

from netcheck.circuit.assemble import Assembled, assemble
from netcheck.circuit.partbook import load_part_book
from netcheck.circuit.sampling import read_sample
from netcheck.circuit.sharing import groups
from netcheck.circuit.walk import Walks
from netcheck.circuit.words import load_words
from netcheck.ground.problems import Refused
from netcheck.ground.yamltext import load
from netcheck.intake.assembly import BoardEntry
from netcheck.intake.assemblycheck import check_against
from netcheck.intake.assemblyreading import parse_node

WORDS = load_words(ROOT / "rules" / "words.yaml")
BOOK = load_part_book(ROOT / "rules" / "parts")

SUPPLY = """
U1 LM7815 in=RAW gnd=GND out=+15V
C1 100u +15V GND
J1 screw terminal 1=RAW 2=GND
J2 header 1=+15V 2=GND
"""
AMP = """
U1 NE5532 1=O 2=O 3=IN 4=~ 5=X 6=Y 7=Y 8=P
R1 47k IN Q
R2 10k X Q
C1 100n P Q
J1 header 1=P 2=Q
J2 header 1=IN 2=Q
"""


def joined(boards: Mapping[str, str], wiring: str) -> Assembled:
    read = {name: read_sample(text, f"{name}.net", board=name) for name, text in boards.items()}
    file, problems = parse_node(load(wiring, "box.yaml"), "box.yaml")
    file = replace(file, boards=tuple(BoardEntry(name, f"{name}.net") for name in boards))
    netlists = {name: netlist for name, (netlist, _) in read.items()}
    problems += check_against(file, netlists)
    assert problems == []
    return assemble(file, netlists, BOOK, WORDS, {name: hints for name, (_, hints) in read.items()})


def roles(assembled: Assembled, board: str) -> dict[str, tuple[str, float | None]]:
    return {net.name: (net.role, net.volts) for net in assembled.circuit.nets.values() if net.board == board}


LEAD = "cables: [{name: lead, from: supply.J2, to: amp.J1}]"


def test_a_rail_and_a_ground_are_told_over_the_cable() -> None:
    assembled = joined({"supply": SUPPLY, "amp": AMP}, LEAD)
    amp = roles(assembled, "amp")
    assert amp["P"] == ("rail", 15.0) and amp["Q"] == ("ground", 0.0)
    rail = assembled.circuit.nets["amp/net/P"]
    assert (rail.low, rail.high) == (14.25, 15.75) and rail.sign == "positive"
    assert rail.origin == "joined to +15V of supply"


def test_what_a_board_says_alone_is_kept() -> None:
    assembled = joined({"supply": SUPPLY, "amp": AMP}, LEAD)
    assert assembled.alone["amp/net/P"].volts is None and assembled.circuit.nets["amp/net/P"].volts == 15.0


def test_without_a_cable_nothing_is_told() -> None:
    assembled = joined({"supply": SUPPLY, "amp": AMP}, "unused: [amp.J1]")
    assert roles(assembled, "amp")["P"][1] is None and assembled.joined == {}


def test_a_net_that_is_plainly_a_signal_is_not_made_a_ground() -> None:
    crossed = joined({"supply": SUPPLY, "amp": AMP}, "cables: [{from: supply.J2, to: amp.J2, wires: {2: 1, 1: 2}}]")
    assert roles(crossed, "amp")["IN"] == ("signal", None)


def test_volts_that_only_a_name_gives_yield_to_those_that_are_made() -> None:
    named = AMP.replace("8=P", "8=+12V").replace(" P ", " +12V ").replace("1=P", "1=+12V")
    assembled = joined({"supply": SUPPLY, "amp": named}, LEAD)
    assert roles(assembled, "amp")["+12V"] == ("rail", 15.0)
    assert assembled.alone["amp/net/+12V"].volts == 12.0


def test_two_makers_that_disagree_are_both_left_as_they_are() -> None:
    other = "U1 LM7812 in=RAW gnd=GND out=V\nC1 1u V GND\nJ1 header 1=V 2=GND\nJ9 header 1=RAW 2=GND"
    assembled = joined({"supply": SUPPLY, "amp": other}, LEAD)
    assert roles(assembled, "amp")["V"][1] == 12.0 and roles(assembled, "supply")["+15V"][1] == 15.0


def test_what_is_told_goes_on_through_boards() -> None:
    through = "J1 header 1=A 2=B\nF1 fuse 1A A C\nJ2 header 1=C 2=B"
    wiring = "cables: [{from: supply.J2, to: mid.J1}, {from: mid.J2, to: amp.J1}]"
    assembled = joined({"supply": SUPPLY, "mid": through, "amp": AMP}, wiring)
    assert roles(assembled, "amp")["P"] == ("rail", 15.0) and roles(assembled, "mid")["B"] == ("ground", 0.0)


def test_the_order_of_boards_and_cables_makes_no_difference() -> None:
    through = "J1 header 1=A 2=B\nF1 fuse 1A A C\nJ2 header 1=C 2=B"
    boards = {"supply": SUPPLY, "mid": through, "amp": AMP}
    cables = ["{name: a, from: supply.J2, to: mid.J1}", "{name: b, from: amp.J1, to: mid.J2}"]
    seen = set()
    for seed in range(6):
        rng = random.Random(seed)
        names = rng.sample(list(boards), 3)
        wiring = f"cables: [{', '.join(rng.sample(cables, 2))}]"
        nets = joined({name: boards[name] for name in names}, wiring).circuit.nets
        seen.add(tuple(sorted((key, net.role, net.volts, net.origin) for key, net in nets.items())))
    assert len(seen) == 1


MAINS = """
chassis:
  - {part: inlet, kind: mains inlet, fused: T500mA, wires: {L: switch.1, N: switch.3, PE: stud}}
  - {part: switch, poles: 2, wires: {2: transformer.P1, 4: transformer.P2}}
  - {part: transformer, primary: 230 V, secondaries: [15 V, 15 V], wires: {S1: supply.J1.1, S2: supply.J1.2}}
  - {part: volume, kind: potentiometer, value: 10k log, gangs: 2, wires: {1: supply.J2.1}}
case: {material: metal}
"""


def test_chassis_parts_are_parts_of_a_board_with_nets_from_their_wires() -> None:
    circuit = joined({"supply": SUPPLY}, MAINS).circuit
    kinds = {part.ref: part.kind for part in circuit.parts.values() if part.board == "chassis"}
    assert kinds == {
        "inlet": "inlet", "inlet fuse": "fuse", "switch": "switch", "transformer": "transformer",
        "volume": "potentiometer",
    }  # fmt: skip
    assert not any(part.on_board for part in circuit.parts.values() if part.board == "chassis")
    pins = circuit.pins
    assert pins["chassis/inlet fuse.2"].net == pins["chassis/switch.1"].net != pins["chassis/inlet.L"].net
    assert pins["chassis/inlet.PE"].net == "chassis/net/case"
    mains = {pin.split("/")[1] for pin, it in pins.items() if circuit.nets[it.net].role == "mains"}
    assert mains == {
        "inlet.L", "inlet.N", "inlet fuse.1", "inlet fuse.2", "switch.1", "switch.2", "switch.3", "switch.4",
        "transformer.P1", "transformer.P2",
    }  # fmt: skip
    assert circuit.nets["chassis/net/case"].role == "earth"
    assert [pins[f"chassis/volume.{n}"].role for n in range(1, 7)] == ["end", "wiper", "end"] * 2


def test_the_earth_wire_on_a_board_is_not_on_the_case() -> None:
    assembled = joined({"supply": SUPPLY}, MAINS.replace("PE: stud", "PE: supply.J1.2"))
    walks = Walks(assembled.circuit, assembled.joined)
    near = walks.joined_by_cable("supply/net/GND")
    assert "chassis/net of inlet.PE" in near and "chassis/net/case" not in near
    assert assembled.circuit.nets["chassis/net/case"].role == "chassis"


def test_mains_on_a_board_is_told() -> None:
    board = "J1 screw terminal 1=A 2=B\nF1 fuse 1A A C\nJ2 screw terminal 1=C 2=B"
    wired = "chassis: [{part: inlet, kind: mains inlet, wires: {L: io.J1.1, N: io.J1.2}}]"
    assembled = joined({"io": board}, wired)
    assert {name: role for name, (role, _) in roles(assembled, "io").items()} == dict.fromkeys("ABC", "mains")


def test_an_adapter_is_no_mains_and_gives_its_volts() -> None:
    board = "J1 barrel t=VIN s=GND\nU1 NE5532 1=O 2=O 3=IN 4=GND 8=VIN\nR1 1k IN GND\nC1 10u VIN GND\nC2 1u VIN GND"
    wired = "chassis: [{part: adapter, volts: 24 V, wires: {plus: io.J1.T, minus: io.J1.S}}]"
    assembled = joined({"io": board}, wired)
    assert roles(assembled, "io")["VIN"] == ("rail", 24.0)
    assert not any(net.role == "mains" for net in assembled.circuit.nets.values())


def test_each_pole_of_a_switch_conducts_by_itself() -> None:
    for position, joins in (("closed", True), ("open", False), ("[[1, 2], [3, 4]]", True)):
        assembled = joined({"supply": SUPPLY}, f"{MAINS}positions: {{switch: {position}}}\n")
        walks = Walks(assembled.circuit, assembled.joined, assembled.mated, assembled.positions)
        reach = walks.reach(assembled.circuit.pins["chassis/switch.1"].net, frozenset({"switch"}))
        keys = {net.key for net in reach.nets}
        assert (assembled.circuit.pins["chassis/switch.2"].net in keys) == joins, position
        assert assembled.circuit.pins["chassis/switch.3"].net not in keys and not reach.perhaps
    unsure = joined({"supply": SUPPLY}, MAINS)
    walks = Walks(unsure.circuit, unsure.joined)
    reach = walks.reach(unsure.circuit.pins["chassis/switch.1"].net, frozenset({"switch"}))
    assert [reasons for _, reasons in reach.perhaps] == [("the position of chassis.switch is not given",)]


def test_a_changeover_switch_joins_its_middle_contact() -> None:
    board = "SW1 switch 1=A 2=B 3=C\nR1 1k A X\nR2 1k B X\nR3 1k C X"
    assembled = joined({"io": board}, "positions: {io.SW1: 2}")
    walks = Walks(assembled.circuit, positions=assembled.positions)
    reached = {net.name for net in walks.reach("io/net/B", frozenset({"switch"})).nets}
    assert reached == {"B", "C"}


def test_connectors_of_which_the_file_tells_do_not_leave_the_box() -> None:
    wiring = f"{LEAD}\nsignal: {{inputs: [{{at: amp.J2.1, return: amp.J2.2}}]}}"
    assembled = joined({"supply": SUPPLY, "amp": AMP}, wiring)
    walks = Walks(assembled.circuit, assembled.joined, assembled.mated)
    assert walks.leaves_board("amp/net/IN") == () and walks.leaves_board("amp/net/P") == ()
    assert [pin.key for pin in walks.leaves_board("supply/net/RAW")] == ["supply/J1.1"]
    assert assembled.pins == {"amp.J2.1": "amp/J2.1", "amp.J2.2": "amp/J2.2"}


def test_hints_of_the_file_reach_the_board() -> None:
    told = "kinds: {amp.U1: comparator}\nfamilies: {amp.J1: jack}\nkeyed: {amp.J2: yes}\nnot fitted: [amp.C1]\n"
    parts = joined({"amp": AMP}, f"{told}volts: {{amp: {{P: 9 V, Q: 0 V}}}}").circuit.parts
    assert parts["amp/U1"].kind == "comparator" and parts["amp/J1"].family == "jack"
    assert parts["amp/J2"].keyed is True and not parts["amp/C1"].fitted
    with pytest.raises(Refused, match="'comparater' is no kind of part; did you mean 'comparator'"):
        joined({"amp": AMP}, "kinds: {amp.U1: comparater}")


def test_screens_join_at_two_ends_only_where_both_are_named() -> None:
    lead = "cables: [{{name: lead, from: supply.J2, to: amp.J1, wires: {{1: 1, 2: 2}}, screen: {{ends at: {}}}}}]"
    both = joined({"supply": SUPPLY, "amp": AMP.replace("Q", "GND")}, lead.format("both"))
    one = joined({"supply": SUPPLY, "amp": AMP.replace("Q", "GND")}, lead.format("amp"))
    assert [wire.kind for wire in both.leads[0].wires] == ["wire", "wire", "screen"]
    assert [wire.kind for wire in one.leads[0].wires] == ["wire", "wire"] and one.leads[0].screen_ends == (
        "amp/net/GND",
    )


def test_a_screen_that_could_end_on_several_pins_is_asked_about() -> None:
    boards = {"supply": SUPPLY, "amp": "J1 header 1=A 2=B\nR1 1k A B"}
    assembled = joined(
        boards, "cables: [{name: lead, from: supply.J2, to: amp.J1, wires: {1: 1}, screen: {ends at: amp}}]"
    )
    assert assembled.remarks == ("On which pin the screen of the lead ends at amp.J1 is not given.",)


def test_groups_are_the_same_whichever_way_wires_are_listed() -> None:
    assert groups({"b": ["a"], "c": ["b"]}) == groups({"a": ["b"], "b": ["c"]}) == (("a", "b", "c"),)
