"""A sample takes the road of a netlist: what is typed comes out of recognition as kinds, roles, families and marks."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
from example_shapes import Looked
from test_shapes import AMPLIFIER, PAIR, told

from netcheck.circuit.board import understand
from netcheck.circuit.model import KINDS, Circuit, Part, join
from netcheck.circuit.partbook import PartBook, load_part_book
from netcheck.circuit.sampling import FAMILIES, read_sample
from netcheck.circuit.walk import Walks
from netcheck.circuit.words import Words, load_words

RULES = Path(__file__).parents[2] / "rules"


@cache
def books() -> tuple[PartBook, Words]:
    return load_part_book(RULES / "parts"), load_words(RULES / "words.yaml")


def understood(text: str) -> Circuit:
    netlist, hints = read_sample(text, "test", 1)
    return join((understand(netlist, "b", *books(), hints),))


def part(text: str, ref: str) -> Part:
    return understood(text).parts[f"b/{ref}"]


@pytest.mark.parametrize("kind", sorted(KINDS - {"unknown"}))
def test_a_kind_that_is_told_is_believed(kind: str) -> None:
    assert part(f"Y1 {kind} 10k 1=A 2=B\nR1 1k A B", "Y1").kind == kind


@pytest.mark.parametrize("family", sorted(FAMILIES))
def test_a_family_makes_a_connector(family: str) -> None:
    found = part(f"Y1 {family} 1=A 2=B\nR1 1k A B", "Y1")
    assert (found.kind, found.family) == ("connector", family)
    assert FAMILIES[family] is None or found.keyed is FAMILIES[family]


def test_letters_of_the_reference_and_types_tell_kinds() -> None:
    made = understood("R1 1k A B\nC1 1n A B\nD1 1N4148 A B\nQ1 BC547B c=A b=B e=C\nU1 NE5532 1=A 2=B 3=C\nL1 10u A B")
    kinds = {one.ref: one.kind for one in made.parts.values()}
    assert kinds == {
        "R1": "resistor", "C1": "capacitor", "D1": "diode", "Q1": "npn", "U1": "opamp", "L1": "inductor",
    }  # fmt: skip
    roles = {pin.number: pin.role for pin in made.parts["b/Q1"].pins}
    assert roles == {"C": "collector", "B": "base", "E": "emitter"}


def test_marks_and_values_arrive() -> None:
    made = understood(
        "C1 polarised 100u plus=A minus=B ; rating 25V\nR1 not fitted TBD A B\nJ1 connector keyed 1=A 2=B\nC2 100n A B"
    )
    electrolytic, missing = made.parts["b/C1"], made.parts["b/R1"]
    assert electrolytic.polarised and electrolytic.value.rated_volts == 25
    assert electrolytic.value.number == pytest.approx(100e-6)
    assert [pin.role for pin in electrolytic.pins] in (["plus", "minus"], ["minus", "plus"])
    assert not missing.fitted and missing.value.number is None
    assert made.parts["b/J1"].keyed is True
    assert made.parts["b/C2"].polarised is False


def test_roles_of_nets_arrive() -> None:
    made = understood(
        "R1 1k VP VM\nR2 1k N N2\nR3 1k X +15V\nR4 1k GND A\n"
        "net VP rail +9 V\nnet VM rail -9\nnet N mains\nnet X ground"
    )
    nets = {net.name: (net.role, net.volts, net.sign) for net in made.nets.values()}
    assert nets["VP"] == ("rail", 9.0, "positive") and nets["VM"] == ("rail", -9.0, "negative")
    assert nets["N"][0] == "mains" and nets["X"][0] == "ground" == nets["GND"][0]
    assert nets["+15V"] == ("rail", 15.0, "positive")


def test_shapes_are_found_in_what_was_understood() -> None:
    (stage,) = Looked(understood(PAIR))("output-stage").matches
    assert (told(stage)["output"], told(stage)["sources"], told(stage)["sinks"]) == ("OUT", ["Q1"], ["Q2"])
    (amplifier,) = Looked(understood(AMPLIFIER.format("GND")))("non-inverting-amplifier").matches
    assert (told(amplifier)["upper"], told(amplifier)["lower"]) == ("R1", "R2")


def test_poles_of_a_relay_do_not_meet() -> None:
    """Common 3 with 2 and 4, common 6 with 5 and 7: what one pole carries never gets to the other."""
    made = Walks(understood("K1 relay G6K-2 1=P 2=NC1 3=LEFT 4=OUT1 5=OUT2 6=RIGHT 7=NC2 8=N"))
    groups = made.groups(made.circuit.parts["b/K1"])
    assert [(group.pins[0].role, {pin.number for pin in group.pins}) for group in groups] == [
        ("coil", {"1", "8"}), ("contact", {"2", "3", "4"}), ("contact", {"5", "6", "7"})
    ]  # fmt: skip
    perhaps = {one.key for one, _ in made.reach("b/net/LEFT", frozenset({"relay"})).perhaps}
    assert perhaps == {"b/net/NC1", "b/net/OUT1"}
