"""Rails behind one resistor: their volts come from the feed, less what the parts behind draw, whatever the name."""

from __future__ import annotations

from types import MappingProxyType

import pytest
from net_builder import DUAL, make, polarised, roles, said

from netcheck.circuit.model import Figure, Part, Record

DRAWS = MappingProxyType({"supply_current": Figure(0.004, 0.004), "supply_current_total_most": Figure(0.010, 0.010)})
BOOKED = Record("NE5532", "opamp", DRAWS)


def behind(plus: str, minus: str, ohms: str = "47R", record: Record | None = BOOKED) -> list[Part]:
    """A dual op-amp on rails of its own, behind resistors from +15V and -15V."""
    return [
        *DUAL,
        make("R81", "resistor", "+15V", plus, value=ohms),
        make("R82", "resistor", "-15V", minus, value=ohms),
        polarised("C81", plus, "GND", "10u"),
        polarised("C82", "GND", minus, "10u"),
        make("U8", "opamp", value="NE5532", record=record, supply_plus=plus, supply_minus=minus,
             plus=("PU8", "PU8B"), minus=("MU8", "MU8B"), output=("OU8", "OU8B")),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("plus", "minus"), [("+15VA", "-15VA"), ("+5VA", "-5VA"), ("VCC", "VEE"), ("VP", "VM"), ("x81", "x82")]
)
@pytest.mark.parametrize("ohms", ["10R", "47R", "100R"])
def test_the_feed_tells_the_volts_whatever_the_name(plus: str, minus: str, ohms: str) -> None:
    """Two amplifiers of 4 mA each draw 8 mA, 10 mA at most for the package, with the mean of the two as nominal."""
    found = roles(behind(plus, minus, ohms))
    number = float(ohms.removesuffix("R"))
    assert said(found[plus]) == ("rail", "positive", pytest.approx(15 - 0.00894 * number, abs=0.01))
    assert (found[plus].low, found[plus].high) == (
        pytest.approx(15 - 0.010 * number),
        pytest.approx(15 - 0.008 * number),
    )
    assert found[plus].origin == "behind R81 from +15V"
    assert said(found[minus]) == ("rail", "negative", pytest.approx(-15 + 0.00894 * number, abs=0.01))
    assert (found[minus].low, found[minus].high) == (
        pytest.approx(-15 + 0.008 * number),
        pytest.approx(-15 + 0.010 * number),
    )


def test_of_a_part_whose_current_nobody_knows_only_the_feed_is_sure() -> None:
    found = roles(behind("x81", "x82", record=None))
    assert said(found["x81"]) == ("rail", "positive", None)
    assert (found["x81"].low, found["x81"].high) == (None, 15)
    named = roles(behind("+12VA", "-12VA", record=None))
    assert said(named["+12VA"]) == ("rail", "positive", 12) and named["+12VA"].origin == "by its name +12VA"


@pytest.mark.parametrize(
    "more",
    [
        make("D9", "zener", anode="GND", cathode="+5VA", value="5V1"),
        make("J9", "connector", "+5VA", "GND"),
        make("U9", "regulator", value="7805", input="+15V", ground="GND", output="+5VA"),
        make("R9", "resistor", "+5VA", "-15V", value="1k"),
        make("Q9", "npn", collector="+5VA", base="xb", emitter="GND"),
    ],
    ids=["zener diode", "connector", "regulator", "second rail", "transistor"],
)
def test_what_something_else_may_hold_or_load_keeps_the_volts_of_its_name(more: Part) -> None:
    assert said(roles([*behind("+5VA", "x82"), more])["+5VA"]) == ("rail", "positive", 5)


def test_a_resistor_to_ground_takes_its_share() -> None:
    found = roles([*behind("x81", "x82", "100R"), make("R9", "resistor", "x81", "GND", value="1k")])
    assert found["x81"].volts == pytest.approx((15 - 0.894) * 1000 / 1100, abs=0.01)


def test_a_second_filter_behind_the_first_one_draws_through_it() -> None:
    second = [
        make("R91", "resistor", "x81", "x91", value="47R"),
        make("C91", "capacitor", "x91", "GND", value="100n"),
        make("U9", "opamp", record=BOOKED, supply_plus="x91", supply_minus="-15V", plus="P9", minus="M9", output="O9"),
    ]
    found = roles([*behind("x81", "x82"), *second])
    first = found["x81"].volts
    assert first is not None and first < 15 - 0.0089 * 47 - 0.003 * 47
    assert found["x91"].volts is not None and found["x91"].volts < first
    assert found["x91"].origin == "behind R91 from the net/x81" or found["x91"].origin.startswith("behind R91")


def test_a_chain_of_any_length_is_read_in_little_time() -> None:
    """Five hundred filters in a row: the last ones are read, and nothing breaks before the many."""
    chain: list[Part] = [*DUAL]
    for number in range(500):
        here, there = ("+15V" if not number else f"x{number}"), f"x{number + 1}"
        chain += [
            make(f"R{number + 100}", "resistor", here, there, value="47R"),
            make(f"C{number + 100}", "capacitor", there, "GND", value="100n"),
            make(f"U{number + 100}", "logic", record=BOOKED, supply_plus=there, ground="GND"),
        ]
    assert roles(chain)["x1"].role == "rail"


def test_an_output_on_the_net_makes_it_a_signal() -> None:
    follower = make("U9", "opamp", supply_plus="x9", supply_minus="-15V", plus="P9", minus="M9", output="x9")
    found = roles([*DUAL, make("R9", "resistor", "+15V", "x9", value="47R"), follower])
    assert found["x9"].role == "signal"


def test_much_that_is_left_open_is_told_by_its_ends_and_refutes_a_name() -> None:
    """1 mA to 10 mA for each of two amplifiers take 0.94 V to 9.4 V across 470 ohm."""
    wide = Record("X", "opamp", MappingProxyType({"supply_current": Figure(0.001, 0.010)}))
    found = roles(behind("+15VA", "x82", "470R", wide))
    assert said(found["+15VA"]) == ("rail", "positive", None)
    assert (found["+15VA"].low, found["+15VA"].high) == (pytest.approx(15 - 9.4), pytest.approx(15 - 0.94))
    assert said(roles(behind("+12VA", "x82", "470R", wide))["+12VA"]) == ("rail", "positive", 12)
