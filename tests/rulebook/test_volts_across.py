"""The volts across a part, and what is said where they are not known."""

from __future__ import annotations

import pytest
from test_judge import facts_of

from netcheck.language.scope import Trace
from netcheck.language.values import Unknown
from netcheck.rulebook.functions import FUNCTIONS


def across(text: str, book) -> object:
    facts = facts_of(text, book)
    return FUNCTIONS["volts_across"].call(facts, Trace(), facts.circuit.parts["amp/C1"])


def test_volts_across_go_from_plus_to_minus(book) -> None:
    assert across("C1 polarised 100u plus=-15V minus=GND", book) == -15.0


def test_what_comes_from_elsewhere_is_one_question_about_the_connector(book) -> None:
    found = across("C1 polarised 10u plus=A minus=B\nJ1 header 1=A 2=B 3=GND", book)
    assert isinstance(found, Unknown)
    assert found.reasons == ("what J1 is joined to is not given",)


def test_volts_across_are_those_at_rest(book) -> None:
    text = "C1 10u A GND\nR1 10k +9V A\nR2 20k A GND\nJ1 header 1=+9V 2=GND"
    assert across(text, book) == pytest.approx(6.0, abs=1e-6)


def test_volts_that_spread_are_told_with_both_ends(book) -> None:
    found = across("C1 polarised 10u plus=A minus=GND\nR1 1k +9V A\nD1 led A GND\nJ1 header 1=+9V 2=GND", book)
    assert isinstance(found, Unknown) and found.low is not None and found.high is not None
    assert 1.2 < found.low < 2.5 < found.high < 4.0
    assert found.reasons[0].startswith("the DC voltage across C1 lies between")


def test_a_rail_without_volts_is_what_is_missing(book) -> None:
    found = across("C1 polarised 10u plus=VCC minus=GND\nJ1 header 1=VCC 2=GND\nC2 100n VCC GND", book)
    assert isinstance(found, Unknown)
    assert found.reasons == ("the volts of VCC are not known",)
    assert found.low == 0.0


def test_the_largest_of_unknowns_without_bounds_is_unknown_not_absent(book) -> None:
    facts = facts_of("C1 100n A B", book)
    found = FUNCTIONS["max"].call(facts, Trace(), Unknown(("why",)), Unknown(("why",)))
    assert found == Unknown(("why",))
