"""The operating point of small circuits, as ranges, and what is said where there is none."""

from __future__ import annotations

import time

import pytest
from test_judge import facts_of

from netcheck.language.values import Unknown
from netcheck.physics.points import Points, Range
from netcheck.rulebook.at_rest import spread_of
from netcheck.rulebook.book import RuleBook

SUPPLY = "\nC90 100n +12V GND\nC91 100n -12V GND\nJ90 header 1=+12V 2=GND 3=-12V\n"


def points(text: str, book: RuleBook) -> Points:
    facts = facts_of(text + SUPPLY, book)
    return Points(facts.walks, spread_of(facts.words))


def volts(text: str, net: str, book: RuleBook) -> Range | Unknown:
    return points(text, book).volts(f"amp/net/{net}")


def certain(text: str, net: str, book: RuleBook) -> Range:
    found = volts(text, net, book)
    assert isinstance(found, Range), found
    return found


def why(text: str, net: str, book: RuleBook) -> str:
    found = volts(text, net, book)
    assert isinstance(found, Unknown), found
    return found.reasons[0]


def test_a_divider(book: RuleBook) -> None:
    assert certain("R1 10k +12V A\nR2 20k A GND", "A", book).nominal == pytest.approx(8.0, abs=1e-6)


def test_a_potentiometer_goes_from_stop_to_stop(book: RuleBook) -> None:
    found = certain("RV1 potentiometer 10k 1=+12V 2=W 3=-12V\nR1 1M W GND", "W", book)
    assert found.nominal == pytest.approx(0.0, abs=0.01)
    assert (found.low, found.high) == (pytest.approx(-12.0, abs=0.01), pytest.approx(12.0, abs=0.01))


def test_a_value_that_cannot_be_read_leaves_what_it_can_do(book: RuleBook) -> None:
    found = certain("R1 10k +12V A\nR2 TBD A GND", "A", book)
    assert (found.low, found.high) == (pytest.approx(0.0, abs=0.01), pytest.approx(12.0, abs=0.01))


def test_a_track_of_unknown_value_still_conducts(book: RuleBook) -> None:
    text = 'RV1 potentiometer "VOLUME" 1=GND 2=W 3=IN\nC1 1u W B\nR1 10k B +12V\nJ1 jack T=IN S=GND'
    assert certain(text, "W", book).high == pytest.approx(0.0, abs=0.01)


def test_an_amplifier_follows_its_feedback(book: RuleBook) -> None:
    text = "U1 TL072 1=O 2=M 3=P 4=-12V 8=+12V 5=GND 6=X 7=X\nR1 10k +12V P\nR2 1k P GND\nR3 1k M GND\nR4 1k O M"
    assert certain(text, "O", book).nominal == pytest.approx(2 * 12 / 11, rel=1e-3)


def test_an_amplifier_reaches_no_further_than_its_supply(book: RuleBook) -> None:
    text = "U1 TL072 1=O 2=M 3=P 4=-12V 8=+12V 5=GND 6=X 7=X\nR1 1k +12V P\nR2 10k P GND\nR3 1k M GND\nR4 10k O M"
    found = certain(text, "O", book)
    assert 8.0 < found.low <= found.high < 12.0


def test_a_transistor_in_the_middle_of_its_supply(book: RuleBook) -> None:
    text = "Q1 BC547B c=C b=B e=E\nR1 100k +12V B\nR2 22k B GND\nR3 4k7 +12V C\nR4 1k E GND"
    collector, emitter = certain(text, "C", book), certain(text, "E", book)
    assert 1.2 < emitter.low < emitter.nominal < emitter.high < 1.9
    assert collector.nominal == pytest.approx(12 - 4.7 * emitter.nominal, rel=0.02)


def test_an_idle_current_spreads_with_junctions_and_temperature(book: RuleBook) -> None:
    text = (
        "R1 2k2 +12V T\nD1 1N4148 a=T k=M\nD2 1N4148 a=M k=B\nR2 2k2 B -12V\nR5 1k M GND\n"
        "Q1 BD139-16 c=+12V b=T e=E1\nQ2 BD140-16 c=-12V b=B e=E2\nR3 1R E1 O\nR4 1R E2 O\nR6 33R O GND"
    )
    solved = points(text, book)
    found = solved.watts(solved.walks.circuit.parts["amp/Q1"])
    assert isinstance(found, Range)
    assert found.high > 3 * found.low > 0


def test_what_hangs_on_an_unknown_part_is_undecided_by_its_name(book: RuleBook) -> None:
    text = "U1 logic 1=A 2=GND 3=+12V\nR1 10k A B\nR2 10k B GND"
    assert why(text, "B", book) == "what U1 does at its pins is not known"


def test_an_amplifier_keeps_its_output_whatever_hangs_there(book: RuleBook) -> None:
    text = (
        "U1 TL072 1=O 2=O 3=P 4=-12V 8=+12V 5=GND 6=X 7=X\nR1 10k +12V P\nR2 10k P GND\nR3 1k O A\n"
        "U2 logic 1=A 2=GND 3=+12V"
    )
    assert certain(text, "O", book).nominal == pytest.approx(6.0, abs=0.01)
    assert why(text, "A", book) == "what U2 does at its pins is not known"


def test_a_node_that_nothing_sets(book: RuleBook) -> None:
    assert why("C1 1u A +12V\nC2 1u A GND", "A", book).startswith("nothing sets the DC voltage of A")
    text = "Q1 2N7000 d=+12V g=A s=B\nR1 1k B GND\nC2 1u A GND"
    assert why(text, "A", book).startswith("nothing sets the DC voltage of A")
    assert why(text, "B", book).startswith("nothing sets the DC voltage of A")


def test_a_circuit_that_latches_has_no_point_at_rest(book: RuleBook) -> None:
    text = "U1 TL072 1=O 2=GND 3=P 4=-12V 8=+12V 5=GND 6=X 7=X\nR1 10k O P\nR2 10k P GND"
    assert "does not stay at rest" in why(text, "O", book)


def test_what_a_header_brings_is_not_known_and_a_jack_brings_nothing(book: RuleBook) -> None:
    assert why("J1 header 1=IN 2=GND\nR1 10k IN GND", "IN", book) == "what J1 is joined to is not given"
    assert certain("J1 jack T=IN S=GND\nR1 10k IN GND", "IN", book) == Range(0.0, 0.0, 0.0)


def test_a_jumper_is_taken_both_ways(book: RuleBook) -> None:
    found = certain("R1 10k +12V A\nR2 10k A B\nJP1 jumper A GND\nR3 10k B GND", "A", book)
    assert (found.low, found.high) == (pytest.approx(0.0, abs=0.01), pytest.approx(8.0, abs=0.01))


def test_currents_and_heat(book: RuleBook) -> None:
    solved = points("R1 1k +12V A\nR2 2k A GND", book)
    part = solved.walks.circuit.parts["amp/R1"]
    amps, watts = solved.amps(part.pins[0]), solved.watts(part)
    assert isinstance(amps, Range) and isinstance(watts, Range)
    assert amps.nominal == pytest.approx(4e-3, rel=1e-6)
    assert watts.nominal == pytest.approx(16e-3, rel=1e-6)


def test_between_rails_that_are_one_supply_the_current_is_not_known(book: RuleBook) -> None:
    """Where a plug may take or bring it; where an op-amp alone hangs there, it is what that draws by itself."""
    text = "R1 10R +12V +12VA\nC1 100u +12VA GND\nU1 {} 1=O 2=O 3=GND 4=-12V 8=+12VA 5=GND 6=X 7=X"
    solved = points(text.format("TL072") + "\nJ1 header 1=+12VA 2=GND", book)
    assert isinstance(solved.watts(solved.walks.circuit.parts["amp/R1"]), Unknown)
    solved = points(text.format("TL072"), book)  # 1.4 mA for each half, 2.5 mA at most, through 10 ohm
    found = solved.watts(solved.walks.circuit.parts["amp/R1"])
    assert isinstance(found, Range)
    assert (found.low, found.high) == pytest.approx((10 * 2.8e-3**2, 10 * 5e-3**2), rel=0.01)


@pytest.mark.parametrize("value", ["0", "-5", "1e30", "1e-30", "nan", "TBD", "999999G"])
def test_absurd_values_give_no_exception_and_no_false_number(value: str, book: RuleBook) -> None:
    text = f"R1 {value} +12V A\nR2 10k A B\nQ1 BC547B c=A b=B e=GND\nD1 1N4148 a=B k=GND\nR3 {value} B GND"
    found = volts(text, "A", book)
    assert isinstance(found, Unknown) or 0.0 <= found.low <= found.high <= 12.0


def test_sixty_transistors_in_a_row_take_little_time(book: RuleBook) -> None:
    """Well below the five seconds that a board may take."""
    stages = "\n".join(f"Q{n} BC547B c=+12V b=N{n} e=N{n + 1}\nR{n} 10k N{n + 1} -12V" for n in range(1, 61))
    start = time.perf_counter()
    volts(f"R100 1k +12V N1\nR101 1k N1 GND\n{stages}", "N61", book)
    assert time.perf_counter() - start < 5.0


def test_the_ends_of_a_net_are_given_to_rules(book: RuleBook) -> None:
    facts = facts_of("R1 10k +12V A\nR2 TBD A GND" + SUPPLY, book)
    found = facts.at_rest.ends(facts.circuit.nets["amp/net/A"])
    assert found is not None and found == (pytest.approx(0.0, abs=0.01), pytest.approx(12.0, abs=0.01))
