"""Which pins set the voltage of their net."""

from __future__ import annotations

from dataclasses import replace

import pytest

from netcheck.circuit.board import understand
from netcheck.circuit.model import join
from netcheck.circuit.sampling import read_sample
from netcheck.physics.driving import drives


@pytest.mark.parametrize(
    ("line", "pin", "expected"),
    [
        ("U1 opamp output=A minus=A plus=B", "OUTPUT", True),
        ("U1 opamp output=A minus=A plus=B", "PLUS", False),
        ("U1 regulator in=A out=B gnd=C", "OUT", True),
        ("U1 buffer output=A input=B reference=C", "REFERENCE", None),
        ("U1 logic 1=A 2=B v+=C", "1", None),
        ("U1 logic 1=A 2=B v+=C", "V+", False),
        ("U1 transistor array collector1=A base1=B emitter1=C", "COLLECTOR1", True),
        ("U1 transistor array collector1=A base1=B emitter1=C", "BASE1", False),
        ("R1 10k A B", "1", False),
        ("Q1 npn c=A b=B e=C", "C", False),  # what passes current on is walked through instead
    ],
)
def test_drives(line: str, pin: str, expected: bool | None, book) -> None:
    netlist, hints = read_sample(line, "test", 1, "amp")
    circuit = join((understand(netlist, "amp", book.parts, book.words, hints),))
    reference = line.split()[0]
    assert drives(circuit, circuit.pins[f"amp/{reference}.{pin}"]) is expected


@pytest.mark.parametrize(
    ("kind", "type_of_pin", "expected"),
    [
        ("microcontroller", "bidirectional", True),
        ("module", "BiDi", True),
        ("microcontroller", "input", False),
        ("integrated circuit", "bidirectional", None),
        ("integrated circuit", "output", True),
    ],
)
def test_drives_by_the_type_that_the_symbol_gives_a_pin(
    kind: str, type_of_pin: str, expected: bool | None, book
) -> None:
    netlist, hints = read_sample(f"U1 {kind} 1=A 2=B v+=C", "test", 1, "amp")
    circuit = join((understand(netlist, "amp", book.parts, book.words, hints),))
    assert drives(circuit, replace(circuit.pins["amp/U1.1"], type=type_of_pin)) is expected
