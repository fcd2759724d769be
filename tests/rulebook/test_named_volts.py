"""Volts that the name of a net states."""

from __future__ import annotations

import pytest
from test_judge import facts_of

from netcheck.language.scope import Trace
from netcheck.rulebook.functions_supply import SUPPLY_FUNCTIONS


@pytest.mark.parametrize(("name", "volts"), [("+12V", 12.0), ("-5V", -5.0), ("3V3", 3.3), ("OUT", None), ("GND", None)])
def test_a_name_states_volts_with_their_sign(book, name: str, volts: float | None) -> None:
    facts = facts_of(f"R1 1k {name} X\nR2 1k {name} X\nJ1 header 1={name} 2=X\n", book)
    assert SUPPLY_FUNCTIONS["named_volts"].call(facts, Trace(), facts.circuit.nets[f"amp/net/{name}"]) == volts
