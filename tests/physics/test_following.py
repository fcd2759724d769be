"""Where the direct voltage of a net has a say."""

from __future__ import annotations

from dataclasses import replace

from netcheck.circuit.board import understand
from netcheck.circuit.model import join
from netcheck.circuit.sampling import read_sample
from netcheck.circuit.walk import Walks
from netcheck.physics.following import followed

CONDUCT = frozenset({"resistor", "diode", "npn", "nmos", "switch"})


def names(text: str, start: str, book) -> tuple[set[str], dict[str, tuple[str, ...]]]:
    """Names of the nets that follow a net, and of those that perhaps do."""
    netlist, hints = read_sample(text, "test", 1, "amp")
    circuit = join((understand(netlist, "amp", book.parts, book.words, hints),))
    sure, perhaps = followed(Walks(circuit), f"amp/net/{start}", CONDUCT)
    return {net.name for net in sure}, {net.name: reasons for net, reasons in perhaps}


def test_it_goes_through_amplifiers_from_input_to_output_only(book) -> None:
    text = "U1 opamp 1=O1 2=M1 3=P1 4=-15V 5=P2 6=M2 7=O2 8=+15V\nR1 10k O1 M2\nR2 10k O2 X"
    assert names(text, "O1", book) == ({"O1", "M2", "O2", "X"}, {})
    assert names(text, "X", book) == ({"X"}, {})  # the output holds O2 against what comes through R2


def test_a_capacitor_stops_it_and_so_do_rails_and_grounds(book) -> None:
    text = "C1 1u A B\nR1 10k A C\nR2 10k C GND\nR3 10k D GND\nR4 10k C +15V\nR5 10k +15V E"
    assert names(text, "A", book) == ({"A", "C"}, {})


def test_it_goes_through_an_instrumentation_amplifier_from_its_reference_too(book) -> None:
    text = "U1 INA217 2=M 3=P 4=-15V 5=REF 6=OUT 7=+15V\nR1 1M OUT S"
    assert names(text, "REF", book) == ({"REF", "OUT", "S"}, {})


def test_a_gate_has_a_say_in_the_channel(book) -> None:
    assert names("Q1 nmos g=A d=B s=C\nR1 1k C GND\nR2 1k B +15V", "A", book)[0] == {"A", "B", "C"}


def test_what_is_in_doubt_is_told(book) -> None:
    text = "U1 logic 1=A 2=B 7=GND 14=+5V\nSW1 switch B C\nR1 1k C D"
    sure, perhaps = names(text, "A", book)
    assert sure == {"A"}
    assert perhaps["B"] == ("what goes on inside U1 is not known",)
    assert perhaps["D"] == ("what goes on inside U1 is not known", "the position of SW1 is not given")


def test_transistors_of_one_package_stay_apart(book) -> None:
    netlist, hints = read_sample("Q1 transistor array 1=A 2=B 3=C 4=D 5=E 6=F", "test", 1, "amp")
    board = understand(netlist, "amp", book.parts, book.words, hints)
    (part,) = board.parts
    pins = tuple(replace(pin, unit="A" if pin.number in "123" else "B", role="base") for pin in part.pins)
    circuit = join((replace(board, parts=(replace(part, pins=pins),)),))
    sure, perhaps = followed(Walks(circuit), "amp/net/A", CONDUCT)
    assert {net.name for net in sure} == {"A", "B", "C"}
    assert perhaps == ()
