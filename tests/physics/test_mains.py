"""The mains side: where mains comes in, what is joined through which parts, what stands across the line."""

from __future__ import annotations

import pytest
from test_judge import facts_of

PRIMARY = 'T1 transformer "230V 30VA" p1={} p2={} s1=A s2=GND\n'
ALL = frozenset({"fuse", "switch", "relay", "link", "inductor"})


def reached(facts, start: str, through=ALL, around=None) -> dict[str, tuple[str, ...]]:
    found = facts.mains.conducted(f"amp/net/{start}", through, around)
    return {net.removeprefix("amp/net/"): doubt for net, doubt in found.items()}


def test_the_side_is_galvanic_and_ends_at_the_winding(book) -> None:
    facts = facts_of("J1 inlet l=L n=N pe=PE\nF1 fuse 1A L LF\n" + PRIMARY.format("LF", "N"), book)
    (side,) = facts.mains.sides
    assert [net.name for net in side.nets] == ["L", "LF", "N"]
    assert [part.ref for part in side.parts] == ["F1", "J1", "T1"]
    (entry,) = side.entries
    assert (entry.line.number, entry.neutral.number) == ("L", "N")
    assert [pin.number for pin in entry.earths] == ["PE"]


@pytest.mark.parametrize(
    ("inlet", "line"),
    [("l=A1 n=A2", "L"), ("1=LIVE 2=X", "1"), ("1=X 2=N", "1"), ("1=/psu/AC_N 2=X", "2"), ("1=X 2=Y", None)],
)
def test_line_and_neutral_by_the_names_of_pins_and_nets(book, inlet: str, line: str | None) -> None:
    (side,) = facts_of(f"J1 inlet {inlet}\n", book).mains.sides
    found = side.entries[0].line
    assert (found.number if found else None) == line


def test_without_an_inlet_the_connector_that_brings_both_conductors(book) -> None:
    circuit = "J1 header 1=LIVE 2=N\nJ2 header 1=LIVE 2=LS\n" + PRIMARY.format("LS", "N") + "SW1 switch LIVE LS\n"
    (side,) = facts_of(circuit, book).mains.sides
    assert [entry.key for entry in side.entries] == ["amp/J1"]


def test_two_poles_of_a_switch_are_not_joined(book) -> None:
    facts = facts_of("J1 inlet l=L n=N\nSW1 switch 1=L 2=LS 3=N 4=NS\n" + PRIMARY.format("LS", "NS"), book)
    assert set(reached(facts, "L")) == {"L", "LS"}


def test_poles_numbered_side_by_side(book) -> None:
    facts = facts_of("J1 inlet l=L n=N\nSW1 switch 1=L 2=N 3=LS 4=NS\n" + PRIMARY.format("LS", "NS"), book)
    assert set(reached(facts, "L")) == {"L", "LS"}


def test_a_coil_is_apart_from_its_contacts(book) -> None:
    facts = facts_of("J1 inlet l=L n=N\nK1 relay coil1=+12V coil2=SW contact1=L contact2=LK\n", book)
    assert set(reached(facts, "L")) == {"L", "LK"}
    assert facts.circuit.nets["amp/net/+12V"].role != "mains"


def test_a_relay_of_unknown_pins_perhaps_conducts(book) -> None:
    facts = facts_of("J1 inlet l=L n=N\nK1 relay XY 1=L 2=LK 3=+12V 4=SW\n", book)
    assert reached(facts, "L")["LK"] == ("the pins of K1 are not known: which is its coil?",)
    assert facts.circuit.nets["amp/net/+12V"].role == "rail"


def test_parts_to_go_around_surely_or_perhaps(book) -> None:
    facts = facts_of("J1 inlet l=L n=N\nF1 fuse 1A L LF\nF2 fuse 1A LF LG\n", book)
    assert set(reached(facts, "L", around={"amp/F2": ()})) == {"L", "LF"}
    assert reached(facts, "L", around={"amp/F1": ("why",)}) == {"L": (), "LF": ("why",), "LG": ("why",)}


def test_resistors_above_a_megohm_hold_mains_off(book) -> None:
    text = "J1 inlet l=L n=N\nR1 {0} L MID\nR2 {0} MID OUT\nJ2 jack t=OUT s=GND\nC1 100n OUT GND\n"
    assert facts_of(text.format("470k"), book).circuit.nets["amp/net/OUT"].role == "mains"
    assert facts_of(text.format("560k"), book).circuit.nets["amp/net/OUT"].role == "signal"


def test_across_the_line_before_and_behind_the_switch(book) -> None:
    circuit = "J1 inlet l=L n=N\nC1 1u L N\nR1 470k L M\nR2 470k M N\nSW1 switch L LS\nC2 1u LS N\n"
    across = facts_of(circuit + PRIMARY.format("LS", "N"), book).mains.across
    assert [[part.ref for part in one.capacitors] for one in across] == [["C1"], ["C1", "C2"]]
    assert [[part.ref for part in chain] for chain in across[0].chains] == [["R1", "R2"]]
    assert [[part.ref for part in one.windings] for one in across] == [[], ["T1"]]


@pytest.mark.parametrize("choke", ["1=L 2=LB 3=N 4=NB", "1=L 2=N 3=NB 4=LB", "1=L 2=N 3=LB 4=NB"])
def test_a_resistor_behind_a_choke_discharges_whichever_way_it_is_wound(book, choke: str) -> None:
    (across,) = facts_of(f"J1 inlet l=L n=N\nC1 1u L N\nL1 inductor 10m {choke}\nR1 1M LB NB\n", book).mains.across
    assert [[part.ref for part in chain] for chain in across.chains] == [["R1"]]
