"""Which pin of a relay is its coil, and what is said when that is not known."""

from __future__ import annotations

from test_judge import facts_of

from netcheck.language.values import Unknown
from netcheck.rulebook.nouns import part_attributes


def coil_of(text: str, book) -> object:
    facts = facts_of(text, book)
    return part_attributes(frozenset({"relay"}))["coil"].get(facts, facts.circuit.parts["amp/K1"])


def test_the_coil_is_the_pin_that_has_the_role(book) -> None:
    assert coil_of("K1 relay 7=NC contact1=A coil1=+12V coil2=SW", book).net == "amp/net/+12V"


def test_a_relay_with_unknown_pins_asks_for_its_coil(book) -> None:
    found = coil_of("K1 relay XY12 1=+12V 2=SW 3=X 4=Y", book)
    assert isinstance(found, Unknown)
    assert found.reasons == ("the pins of K1 are not known: which is its coil?",)
