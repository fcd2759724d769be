"""What stands behind a net, which plug fits where, and which spring of a jack rests on which contact."""

from __future__ import annotations

import pytest

from netcheck.circuit.board import understand
from netcheck.circuit.model import Circuit, join
from netcheck.circuit.opposites import opposed, pairs_of, sided
from netcheck.circuit.sampling import read_sample
from netcheck.circuit.walk import Walks
from netcheck.physics.outputs import outputs_behind
from netcheck.physics.plugs import exchanged, rests_on, same_socket

AMP = "U1 NE5532 1=O 2=O 3=IN 4=-15V 5=GND 6=X 7=X 8=+15V\n"


def circuit_of(book, text: str) -> Circuit:
    netlist, hints = read_sample(text, "test")
    return join((understand(netlist, "amp", book.parts, book.words, hints),))


def behind(book, text: str, net: str, ohms: float) -> tuple[list[str], list[str]]:
    sure, perhaps = outputs_behind(Walks(circuit_of(book, text)), f"amp/net/{net}", ohms)
    return [pin.key for pin in sure], [pin.key for pin, _ in perhaps]


def test_resistors_in_series_count_and_capacitors_do_not(book) -> None:
    text = AMP + "R1 100R O A\nC1 10u A B\nR2 100R B OUT\n"
    assert behind(book, text, "OUT", 200.0) == (["amp/U1.1"], [])
    assert behind(book, text, "OUT", 199.0) == ([], [])


def test_an_unreadable_resistor_leaves_it_open_unless_another_way_is_sure(book) -> None:
    assert behind(book, AMP + "R1 TBD O OUT\n", "OUT", 100.0) == ([], ["amp/U1.1"])
    assert behind(book, AMP + "R1 TBD O OUT\nR2 47R O OUT\n", "OUT", 100.0) == (["amp/U1.1"], [])


def test_no_output_is_looked_for_beyond_a_rail_or_ground_but_at_one(book) -> None:
    text = AMP + "R1 10R OUT GND\nR2 10R GND O\nR3 10R OUT +15V\n"
    assert behind(book, text, "OUT", 100.0) == ([], [])
    assert behind(book, text, "GND", 100.0) == (["amp/U1.1"], [])


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("Q1 npn c=+15V b=B e=OUT", ["amp/Q1.E"]),
        ("Q1 npn c=OUT b=B e=GND", []),
        ("Q1 pnp c=-15V b=B e=OUT", ["amp/Q1.E"]),
    ],
)
def test_a_transistor_drives_when_a_rail_feeds_it(book, line: str, expected: list[str]) -> None:
    assert behind(book, AMP + line + "\n", "OUT", 10.0)[0] == expected


def test_which_spring_rests_on_a_contact(book) -> None:
    jack = circuit_of(book, "J1 jack T=A R=B S=GND TN=C RN=D\nR1 1k A B\n").parts["amp/J1"]
    contacts = {pin.number: rests_on(jack, pin) for pin in jack.by_role("switch contact")}
    assert {number: spring and spring.number for number, spring in contacts.items()} == {"TN": "T", "RN": "R"}


def test_plugs_fit_by_family_and_number_of_contacts(book) -> None:
    circuit = circuit_of(book, "J1 header 1=A 2=B\nJ2 header 1=C 2=D\nJ3 header 1=A 2=B 3=C\nJ4 barrel 1=A 2=B\n")
    one, two, three, round_one = (circuit.parts[f"amp/J{n}"] for n in (1, 2, 3, 4))
    assert same_socket(one, two)
    assert not same_socket(one, three)
    assert not same_socket(one, round_one)
    meets = [(contact.here, contact.there) for contact in exchanged(circuit, three, one)]
    assert meets == [("amp/net/A", "amp/net/A"), ("amp/net/B", "amp/net/B"), ("amp/net/C", None)]


def test_opposites_differ_in_one_word_only() -> None:
    pairs = pairs_of(["l/r", "+/-", "left/right"])
    assert opposed("L_pow+", "/amp/L_pow-", pairs)
    assert opposed("out left", "OUT_RIGHT", pairs)
    assert not opposed("OUT_L", "OUT_L", pairs)
    assert not opposed("IN_L", "OUT_R", pairs)
    assert not opposed("+15V", "-12V", pairs)
    assert sided("OUT_L", pairs)
    assert not sided("OUTLET", pairs)
