"""Current of rails at rest: sums that can be done by hand, and what is said where one part is not known."""

from __future__ import annotations

import pytest
from test_judge import facts_of

from netcheck.language.values import Unknown
from netcheck.physics.behaviour import RestRow
from netcheck.physics.points import Points
from netcheck.physics.railcurrents import rail_currents
from netcheck.rulebook.at_rest import spread_of
from netcheck.rulebook.book import RuleBook

SUPPLY = "\nC90 100n +12V GND\nC91 100n -12V GND\nJ90 header 1=+12V 2=GND 3=-12V\n"


def rows(text: str, book: RuleBook) -> dict[str, RestRow]:
    facts = facts_of(text + SUPPLY, book)
    found = rail_currents(Points(facts.walks, spread_of(facts.words)), "amp")
    return {row.key.removeprefix("amp/net/"): row for row in found}


def test_resistors_to_ground_add_up(book: RuleBook) -> None:
    """12 V over 10 k and over 20 k in all: 1.2 mA and 0.6 mA; 12 V over 6 k from the other rail: 2 mA."""
    found = rows("R1 10k +12V GND\nR2 10k +12V A\nR3 10k A GND\nR4 6k -12V GND", book)
    assert found["+12V"].nominal == pytest.approx(1.8e-3, rel=1e-6)
    assert found["-12V"].nominal == pytest.approx(2.0e-3, rel=1e-6)


def test_a_rail_on_which_nothing_hangs_gives_nothing(book: RuleBook) -> None:
    assert rows("R1 10k +12V GND", book)["-12V"].nominal == 0.0


def test_amplifiers_draw_what_their_book_tells(book: RuleBook) -> None:
    text = "U1 NE5532 1=A 2=A 3=GND 4=-12V 5=GND 6=B 7=B 8=+12V\nR1 10k A GND\nR2 10k B GND"
    found = rows(text, book)
    for rail in ("+12V", "-12V"):
        row = found[rail]
        assert row.nominal is not None and row.low is not None and row.high is not None
        # Two amplifiers of 4 mA typically, 16 mA at most together (figures of the part book).
        assert 0 < row.low <= row.nominal <= row.high <= 0.02
    assert found["+12V"].nominal == pytest.approx(found["-12V"].nominal)


def test_what_hangs_behind_a_bead_is_counted_with_the_rail_that_feeds_it(book: RuleBook) -> None:
    found = rows("net +12VA rail 12 V\nFB1 600R +12V +12VA\nR1 1k +12VA GND\nC1 100n +12VA GND", book)
    assert "+12VA" not in found
    assert found["+12V"].nominal == pytest.approx(12e-3, rel=1e-3)


def test_a_part_that_is_not_known_leaves_the_rail_unknown(book: RuleBook) -> None:
    found = rows("U9 XYZ123 1=+12V 2=GND 3=A\nR1 10k +12V GND", book)
    assert found["+12V"].nominal is None and "U9" in found["+12V"].reason
    assert found["-12V"].nominal == 0.0


def test_a_value_that_cannot_be_read_is_named_instead_of_absurd_currents(book: RuleBook) -> None:
    """With a wire in the place of R1 a LED would take kiloamperes; between two known nets the value counts too."""
    facts = facts_of("R1 TBD +12V A\nD1 led a=A k=GND\nR2 TBD +12V GND" + SUPPLY, book)
    points = Points(facts.walks, spread_of(facts.words))
    for ref, reference in (("D1", "R1"), ("R1", "R1"), ("R2", "R2")):
        found = points.amps(facts.circuit.parts[f"amp/{ref}"].pins[0])
        assert isinstance(found, Unknown) and found.reasons == (f"{reference} has the value 'TBD'",), ref
        assert isinstance(points.watts(facts.circuit.parts[f"amp/{ref}"]), Unknown), ref
