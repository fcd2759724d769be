"""What feeds a rail, and which rails are one supply."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from netcheck.circuit.board import understand
from netcheck.circuit.model import Circuit, join
from netcheck.circuit.partbook import load_part_book
from netcheck.circuit.sampling import read_sample
from netcheck.circuit.walk import Walks
from netcheck.circuit.words import load_words
from netcheck.physics.feeding import feeding, rail_web

RULES = Path(__file__).resolve().parents[2] / "rules"
SERIES = frozenset({"resistor", "fuse", "ferrite", "link", "inductor", "diode", "regulator"})
LOOK = 22.0
BRIDGE = "D1 bridge plus=+12V minus=GND alternating1=A alternating2=B\nT1 transformer 1=A 2=B"
OPAMP = "U1 opamp 1=O1 2=M1 3=GND 4=GND 5=GND 6=M2 7=O2 8={}\nC1 100n {} GND\n"


@cache
def recognition():
    return load_part_book(RULES / "parts"), load_words(RULES / "words.yaml")


def circuit_of(text: str) -> Circuit:
    netlist, hints = read_sample(text, "test", 1, "amp")
    return join((understand(netlist, "amp", *recognition(), hints),))


def fed_by(text: str, rail: str = "+12V") -> tuple[list[str], list[str]]:
    found = feeding(Walks(circuit_of(text)), f"amp/net/{rail}", LOOK)
    return [pin.key.removeprefix("amp/") for pin in found.pins], [
        pin.key.removeprefix("amp/") for pin, _ in found.perhaps
    ]


def web(text: str, rail: str) -> tuple[list[str], dict[str, tuple[str, ...]]]:
    sure, perhaps = rail_web(Walks(circuit_of(text)), f"amp/net/{rail}", SERIES, LOOK)
    return [net.name for net in sure], {key.removeprefix("amp/net/"): why for key, why in perhaps.items()}


@pytest.mark.parametrize(
    ("what", "lines", "feeders"),
    [
        ("a connector", "J1 connector 1=+12V 2=GND", ["J1.1"]),
        ("behind a fuse", "F1 fuse IN +12V\nJ1 connector 1=IN 2=GND", ["J1.1"]),
        ("behind a diode", "D1 diode a=IN k=+12V\nJ1 connector 1=IN 2=GND", ["J1.1"]),
        ("behind a diode turned round", "D1 diode a=+12V k=IN\nJ1 connector 1=IN 2=GND", []),
        ("a battery", "BT1 battery plus=+12V minus=GND", ["BT1.PLUS"]),
        ("a follower", "Q1 npn c=+20V b=B e=+12V\nJ1 connector 1=+20V 2=GND", ["J1.1"]),
        ("a load that draws through a follower", "Q1 npn c=+12V b=B e=OUT\nJ1 connector 1=OUT 2=GND", []),
        ("a regulator", "U2 7812 in=+20V gnd=GND out=+12V\nJ1 connector 1=+20V 2=GND", ["J1.1"]),
        ("a module that has a supply", "U3 module v+=+12V gnd=GND", ["U3.V+"]),
        ("a regulator with nothing before it", "U2 7812 in=+20V gnd=GND out=+12V", []),
        ("a pull-up to a contact", "R1 10k +12V IN\nJ1 connector 1=IN 2=GND", []),
        ("a resistor from another rail", "R1 1k +20V +12V\nJ1 connector 1=+20V 2=GND", ["J1.1"]),
        ("a bridge", BRIDGE, ["T1.1", "T1.2"]),
        ("a buffered half supply", "U3 opamp 1=+12V 2=+12V 3=X 4=GND 8=+20V 5=GND 6=Y 7=Y", ["U3.1"]),
        ("only loads", "R1 10k +12V GND", []),
    ],
)  # fmt: skip
def test_what_feeds_a_rail(what: str, lines: str, feeders: list[str]) -> None:
    surely, perhaps = fed_by(OPAMP.format("+12V", "+12V") + lines)
    assert (surely, perhaps) == (feeders, []), what


def test_what_perhaps_feeds_a_rail() -> None:
    lines = OPAMP.format("+12V", "+12V")
    surely, perhaps = fed_by(lines + "U2 unknown kind 1=+12V 2=GND")
    assert (surely, perhaps) == ([], ["U2.1"])
    surely, perhaps = fed_by(lines + "D1 bridge plus=+12V minus=GND alternating1=A alternating2=B")
    assert (surely, len(perhaps)) == ([], 2)
    surely, perhaps = fed_by(lines + "Q1 npn 1=+12V 2=B 3=IN\nJ1 connector 1=IN 2=GND")
    assert (surely, perhaps) == ([], ["J1.1"])
    surely, perhaps = fed_by(lines + "R1 TBD +12V IN\nJ1 connector 1=IN 2=GND")
    assert (surely, perhaps) == ([], ["J1.1"])


def test_one_supply_through_small_parts_only() -> None:
    tail = OPAMP.format("VP", "VP") + "net VP rail +12 V\nJ1 connector 1=+12V 2=GND\n"
    assert web(tail + "R1 10R +12V VP", "VP") == (["+12V", "VP"], {})
    assert web(tail + "R1 100R +12V VP", "VP")[0] == ["VP"]
    assert web(tail + "R1 TBD +12V VP", "VP") == (["VP"], {"+12V": ("R1 has the value 'TBD'",)})
    assert web(tail + "R1 TBD +12V VP\nF1 fuse +12V VP", "VP") == (["+12V", "VP"], {})


def test_a_diode_across_a_regulator_joins_nothing() -> None:
    regulator = "U2 7812 in=+20V gnd=GND out=+12V\nD1 diode a=+12V k=+20V\n"
    circuit = circuit_of(regulator + OPAMP.format("+12V", "+12V"))
    sure, _ = rail_web(Walks(circuit), "amp/net/+12V", SERIES - {"regulator"}, LOOK)
    assert [net.name for net in sure] == ["+12V"]
    assert web(regulator + OPAMP.format("+12V", "+12V"), "+12V")[0] == ["+12V", "+20V"]


def test_rails_of_two_signs_are_two_supplies() -> None:
    lines = "R1 10R +12V -12V\nU1 opamp 1=O1 2=M1 3=GND 4=-12V 5=GND 6=M2 7=O2 8=+12V"
    assert web(lines, "+12V")[0] == ["+12V"]
