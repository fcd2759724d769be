"""Least ratings of parts that state none: from volts across and heat, with the spare that the words ask for."""

from __future__ import annotations

from test_judge import facts_of

from netcheck.rulebook.book import RuleBook
from netcheck.rulebook.ratings import ratings_of


def test_a_capacitor_across_a_supply_wants_the_next_rating_that_is_sold(book: RuleBook) -> None:
    text = "J1 header 1=+15V 2=GND\nC1 100u +15V GND\nC2 100u +15V GND ; rating 25V\nC3 100u A GND\nR1 10k A GND"
    (row,) = ratings_of(facts_of(text, book), ())
    assert (row.kind, row.parts, row.volts) == ("capacitor", ("amp/C1",), 25.0)  # 15 V and a quarter more is 18.8 V


def test_a_resistor_that_takes_up_much_wants_twice_that(book: RuleBook) -> None:
    facts = facts_of("J1 header 1=+15V 2=GND\nR1 1k +15V GND\nR2 1k +15V GND\nR3 100k +15V GND", book)
    rows = ratings_of(facts, (facts.at_rest.numbers("amp"),))
    assert [(row.parts, row.watts) for row in rows] == [(("amp/R1", "amp/R2"), 0.6)]  # 225 mW each
