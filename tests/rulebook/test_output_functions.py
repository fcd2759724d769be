"""Temperatures, ratings by the body and ends of numbers, as rules ask for them."""

from __future__ import annotations

import pytest

from netcheck.circuit.assemble import Sink
from netcheck.circuit.sampling import read_sample
from netcheck.language.scope import Trace
from netcheck.language.values import Unknown
from netcheck.review import BoardPlan, Plan, facts_of
from netcheck.rulebook.book import RuleBook
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.functions_output import OUTPUT_FUNCTIONS, _way_out

CIRCUIT = """
Q1 BD139 c=+15V b=B e=E
Q2 2N3904 c=+15V b=B e=E
Q3 npn c=+15V b=B e=E
R1 1R E GND ; footprint Resistor_SMD:R_0805_2012Metric
R2 1R E GND ; footprint Resistor_THT:R_Axial_DIN0411_L9.9mm_D3.6mm_P15.24mm_Horizontal
R3 1R E GND ; footprint Resistor_THT:R_Axial_DIN0207_L6.3mm_D2.5mm_P10.16mm_Horizontal
R4 1R E GND ; footprint Resistor_SMD:R_1206_3216Metric_Pad1.30x1.75mm_HandSolder
R5 1R E GND
J1 header 1=+15V 2=GND
"""


@pytest.fixture(scope="module")
def facts(book: RuleBook) -> Facts:
    netlist, hints = read_sample(CIRCUIT, "parts.txt", board="s")
    return facts_of(Plan("s", (BoardPlan("s", netlist, hints),), book))


def asked(facts: Facts, function: str, ref: str, *more: object) -> object:
    return OUTPUT_FUNCTIONS[function].call(facts, Trace(), facts.circuit.parts[f"s/{ref}"], *more)


def test_a_small_transistor_is_in_free_air(facts: Facts) -> None:
    """40 °C and 0.3 W over 200 K/W. Source of the figure: the sheet of the 2N3904 in the part book."""
    assert asked(facts, "celsius", "Q2", 0.3, None, 40.0) == pytest.approx(100.0)
    assert asked(facts, "to_air", "Q2") == 200.0


def test_a_part_made_for_a_heatsink_is_between_the_best_one_and_none(facts: Facts) -> None:
    found = asked(facts, "celsius", "Q1", 2.0, None, 40.0)
    assert isinstance(found, Unknown) and found.low == pytest.approx(60.0) and found.high == pytest.approx(240.0)
    assert found.reasons == ("no heatsink is stated for Q1, which takes up 2 W",)


def test_without_a_temperature_of_the_air_there_is_none(facts: Facts) -> None:
    assert asked(facts, "celsius", "Q2", 0.3) == Unknown(("the temperature round the box is not given",))


def test_heat_that_is_not_certain_keeps_its_ends(facts: Facts) -> None:
    found = asked(facts, "celsius", "Q2", Unknown(("the heat of Q2 lies between two ends",), 0.1, 0.4), None, 40.0)
    assert isinstance(found, Unknown) and (found.low, found.high) == (pytest.approx(60.0), pytest.approx(120.0))


def test_a_type_that_the_book_does_not_know_has_no_certain_temperature(facts: Facts) -> None:
    found = asked(facts, "celsius", "Q3", 0.3, None, 40.0)
    assert isinstance(found, Unknown) and "thermal resistance of Q3" in found.reasons[0]


@pytest.mark.parametrize(("ref", "watts"), [("R1", 0.125), ("R2", 1.0), ("R3", 0.6), ("R4", 0.25)])
def test_the_body_tells_what_a_resistor_bears(facts: Facts, ref: str, watts: float) -> None:
    assert asked(facts, "body_watts", ref) == watts


def test_no_footprint_tells_nothing(facts: Facts) -> None:
    found = asked(facts, "body_watts", "R5")
    assert isinstance(found, Unknown) and "what R5 is rated for" in found.reasons[0]


def test_ends_of_a_number() -> None:
    low, high = OUTPUT_FUNCTIONS["low_end"].call, OUTPUT_FUNCTIONS["high_end"].call
    between = Unknown(("it lies between",), 1.0, 2.0)
    assert (low(None, Trace(), between), high(None, Trace(), between)) == (1.0, 2.0)
    assert (low(None, Trace(), 3.0), high(None, Trace(), 3.0)) == (3.0, 3.0)
    upwards = Unknown(("it is more than",), 1.0)
    assert high(None, Trace(), upwards) is upwards


def test_a_heatsink_carries_away_what_all_parts_on_it_take_up(facts: Facts) -> None:
    """10 K/W to the case, 0.5 for the joint, 1 for a washer, 4 K/W to the air for each of two: 19.5 K/W in all."""
    keys = ("s/Q1", "s/Q3")
    sink = Sink("sink", keys, 4.0, insulated=("s/Q1",))
    told = _way_out(facts, facts.circuit.parts["s/Q1"], sink, 1.0, None)[0]
    assert told == (pytest.approx(19.5), pytest.approx(19.5), ())
    other = _way_out(facts, facts.circuit.parts["s/Q1"], sink, 1.0, 3.0)[0]
    assert other[:2] == (pytest.approx(23.5), pytest.approx(23.5))


def test_a_heatsink_of_unknown_size_leaves_it_open_upwards(facts: Facts) -> None:
    low, high, reasons = _way_out(facts, facts.circuit.parts["s/Q1"], Sink("sink", ("s/Q1",)), 1.0, None)[0]
    assert low == 10.0 and high is None and "the heatsink of Q1" in reasons[0]
