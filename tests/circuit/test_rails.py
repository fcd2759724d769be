"""Which nets are rails, with what sign and volts, and where they come from. Small circuits made by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest
from net_builder import DUAL, adjustable, fixed, make, opamp, polarised, renamed, roles, said, supply

from netcheck.circuit.model import Hints, Part

# ---- by name -----------------------------------------------------------------------------------------------


def test_a_dual_supply_by_its_names() -> None:
    found = roles(DUAL)
    assert said(found["+15V"]) == ("rail", "positive", 15)
    assert said(found["-15V"]) == ("rail", "negative", -15)
    assert found["+15V"].origin == "by its name +15V"
    assert (found["+15V"].low, found["+15V"].high) == (None, None)
    assert found["GND"].role == "ground" and found["GND"].volts == 0
    assert found["GND"].domain == "b/net/GND" and "the zero of the board" in found["GND"].origin
    assert found["PU1"].role == "signal" and found["OU1"].role == "signal"


def test_a_dual_supply_without_names_is_found_by_structure() -> None:
    found = roles(renamed(DUAL, {"+15V": "x1", "-15V": "x2", "GND": "x3"}))
    assert said(found["x1"]) == ("rail", "positive", None)
    assert said(found["x2"]) == ("rail", "negative", None)
    assert found["x3"].role == "ground" and found["x3"].volts == 0
    assert "supply pins of U1 and U2" in found["x1"].origin


def test_a_single_supply_without_names() -> None:
    parts = [
        opamp("U1", "x1", "x2"),
        make("C1", "capacitor", "x1", "x2", value="100n"),
        make("J1", "connector", "x1", "x2"),
        make("R1", "resistor", "x1", "x4", value="10k"),
        make("R2", "resistor", "x4", "x2", value="10k"),
        polarised("C2", "x4", "x2"),
    ]
    found = roles(parts)
    assert said(found["x1"]) == ("rail", "positive", None)
    assert found["x2"].role == "ground"
    assert found["x4"].role == "signal"


def test_lowest_names_are_ground_or_negative_by_what_else_there_is() -> None:
    alone = roles([opamp("U1", "VDD", "VSS"), make("J1", "connector", "VDD", "VSS")])
    assert alone["VSS"].role == "ground" and said(alone["VDD"]) == ("rail", "positive", None)
    dual = roles([*renamed(DUAL, {"+15V": "VCC", "-15V": "VEE"})])
    assert said(dual["VEE"]) == ("rail", "negative", None)
    chip = make("U9", "microcontroller", supply_plus="VDD", ground="VSS")
    logic = roles([*DUAL, chip])
    assert logic["VSS"].role == "ground"


def test_names_that_only_hint_need_something_on_the_net() -> None:
    signal = [
        *DUAL,
        make("J9", "connector", tip="VIN", sleeve="GND"),
        make("C9", "capacitor", "VIN", "PU2", value="1u"),
    ]
    assert roles(signal)["VIN"].role == "signal"
    supply = [*DUAL, make("J9", "connector", "VIN", "GND"), make("C9", "capacitor", "VIN", "GND", value="100n")]
    assert said(roles(supply)["VIN"]) == ("rail", "positive", None)
    fed = [*DUAL, make("J9", "connector", "USB5V", "GND"), make("U9", "logic", supply_plus="USB5V", ground="GND")]
    assert said(roles(fed)["USB5V"]) == ("rail", "positive", 5)


def test_half_supplies_and_references_are_no_rails() -> None:
    bias = [
        *DUAL,
        make("R8", "resistor", "+15V", "VBIAS", value="10k"),
        make("R9", "resistor", "VBIAS", "GND", value="10k"),
        polarised("C8", "VBIAS", "GND"),
        make("U8", "reference", output="VREF", input="+15V", ground="GND"),
    ]
    found = roles(bias)
    assert found["VBIAS"].role == "signal" and found["VREF"].role == "signal"
    assert roles([*bias, make("U9", "logic", supply_plus="VREF", ground="GND")])["VREF"].role == "rail"


def test_a_misplaced_supply_pin_makes_no_rail_of_a_signal() -> None:
    slip = replace(opamp("U3", "OU1", "-15V"))
    assert roles([*DUAL, slip])["OU1"].role == "signal"


def test_a_reversed_package_does_not_turn_the_rails() -> None:
    found = roles([opamp("U1", "-15V", "+15V"), *DUAL[2:]])
    assert found["+15V"].sign == "positive" and found["-15V"].sign == "negative"


def test_what_is_told_overrules_names() -> None:
    hints = Hints(
        net_roles={"+15V": ("rail", 14.2), "PU1": ("mains", None), "x1": ("rail", -8.0), "GND": ("ground", None)}
    )
    found = roles([*DUAL, make("R5", "resistor", "x1", "GND", value="1k")], hints)
    assert said(found["+15V"]) == ("rail", "positive", 14.2) and found["+15V"].origin == "given in the assembly"
    assert said(found["x1"]) == ("signal", "", None), "an unnamed net is not told by the part of its key after net/"
    by_key = roles([*DUAL], Hints(net_roles={"net/PU1": ("rail", -8.0)}))
    assert said(by_key["PU1"]) == ("rail", "negative", -8)


# ---- regulators ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("plus", "minus"), [("+15V", "-15V"), ("xp", "xm"), ("VCC", "VEE")])
def test_regulators_give_volts_whatever_the_names(plus: str, minus: str) -> None:
    found = roles(supply(plus, minus))
    assert said(found[plus]) == ("rail", "positive", 15)
    assert (found[plus].low, found[plus].high) == pytest.approx((14.4, 15.6))
    assert found[plus].origin == "output of U3, LM7815"
    assert said(found[minus]) == ("rail", "negative", -15)
    assert (found[minus].low, found[minus].high) == pytest.approx((-15.6, -14.4))
    assert said(found["xa"]) == ("rail", "positive", None) and said(found["xb"]) == ("rail", "negative", None)
    assert "rectified by D1" in found["xa"].origin
    assert found["AC1"].role == "signal"


def test_a_wrong_name_does_not_move_a_regulated_rail() -> None:
    found = roles(supply("+12V", "-15V"))
    assert found["+12V"].volts == 15 and found["+12V"].origin == "output of U3, LM7815"


def test_a_raw_rail_named_with_volts_says_so() -> None:
    found = roles(renamed(supply("xp", "xm"), {"xa": "+12V"}))
    assert said(found["+12V"]) == ("rail", "positive", 12)
    assert found["+12V"].origin == "by its name +12V only; rectified by D1"


def lm317(*extra: Part, top: str = "240", bottom: str = "2640", name: str = "LM317", pot: bool = False) -> list[Part]:
    lower = make("R2", "resistor", "xadj", "GND", value=bottom)
    if pot:
        lower = make("RV1", "potentiometer", value=bottom, end=("xadj", "xnc"), wiper="GND")
    regulator = make("U1", "regulator", value=name, record=adjustable(name), input="xin", output="xout", adjust="xadj")
    parts = [make("J1", "connector", "xin", "GND"), polarised("C1", "xin", "GND"), polarised("C2", "xout", "GND")]
    return [regulator, make("R1", "resistor", "xout", "xadj", value=top), lower, *parts, *extra]


def test_an_adjustable_regulator_by_its_divider() -> None:
    found = roles(lm317())
    assert said(found["xout"]) == ("rail", "positive", pytest.approx(15.0))
    assert found["xout"].low is not None and found["xout"].low == pytest.approx(1.2 * (1 + 2640 * 0.99 / (240 * 1.01)))
    assert found["xout"].high is not None and found["xout"].high > 15.6
    assert found["xout"].origin == "output of U1, LM317, set by R1 and R2"
    assert found["xadj"].role == "signal"


def test_a_trimmer_gives_bounds_without_a_middle() -> None:
    found = roles(lm317(bottom="5k", pot=True))
    assert found["xout"].volts is None
    assert found["xout"].low == pytest.approx(1.2) and found["xout"].high == pytest.approx(1.3 * (1 + 5000 / 237.6))


def test_a_divider_against_ground_is_read_the_other_way() -> None:
    found = roles(lm317(name="TPS7A33", top="1.2k", bottom="1k"))
    assert found["xout"].volts == pytest.approx(1.25 * 2.2)


def test_a_set_current_through_one_resistor() -> None:
    record = adjustable("LT3045", set_current=(98e-6, 102e-6))
    parts = [
        make("U1", "regulator", value="LT3045", record=record, input="xin", output="xout", adjust="xset", ground="GND"),
        make("R1", "resistor", "xset", "GND", value="150k"),
        make("J1", "connector", "xin", "GND", "xout"),
    ]
    assert roles(parts)["xout"].volts == pytest.approx(15)


def test_an_unreadable_resistor_leaves_the_volts_open() -> None:
    found = roles(lm317(bottom="TBD"))
    assert said(found["xout"]) == ("rail", "positive", None)


def test_a_driven_adjust_pin_leaves_the_volts_open() -> None:
    found = roles(lm317(make("Q1", "npn", collector="xadj", base="xb", emitter="GND")))
    assert found["xout"].volts is None


def test_a_current_source_is_no_rail() -> None:
    parts = [
        make("U1", "regulator", value="LM317", record=adjustable("LM317"), input="+15V", output="xo", adjust="xa"),
        make("R1", "resistor", "xo", "xa", value="47"),
        make("Q1", "npn", collector="xa", base="xb", emitter="-15V"),
    ]
    found = roles([*DUAL, *parts])
    assert found["xo"].role == "signal" and found["xa"].role == "signal"


def test_a_regulator_that_stands_on_a_diode_has_no_sure_volts() -> None:
    lifted = make("U1", "regulator", value="7805", record=fixed("7805", 5), input="xin", ground="xg", output="xo")
    parts = [
        lifted,
        make("D1", "diode", "xg", "GND"),
        make("J1", "connector", "xin", "GND"),
        polarised("C1", "xo", "GND"),
    ]
    found = roles(parts)
    assert said(found["xo"]) == ("rail", "positive", None) and found["xg"].role == "signal"


# ---- behind other parts -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "value"), [("fuse", "1A"), ("ferrite", "600R@100MHz"), ("link", "0"), ("resistor", "10R"), ("switch", "")]
)
def test_a_rail_behind_something_of_few_ohms(kind: str, value: str) -> None:
    parts = [
        *DUAL,
        make("F1", kind, "+15V", "x1", value=value),
        make("C9", "capacitor", "x1", "GND", value="100n"),
        make("Q1", "npn", collector="x1", base="xb", emitter="xe"),
    ]
    found = roles(parts)
    assert said(found["x1"]) == ("rail", "positive", 15)
    assert found["x1"].origin == "behind F1 from +15V"


def test_what_a_rail_does_not_make_a_rail() -> None:
    parts = [
        *DUAL,
        make("R7", "resistor", "+15V", "xe", value="22R"),  # degeneration of a mirror
        make("Q1", "pnp", emitter="xe", base="xb", collector="xb"),
        make("R8", "resistor", "+15V", "xs", value="10R"),  # a snubber
        make("C8", "capacitor", "xs", "GND", value="100n"),
        make("R9", "resistor", "+15V", "xf", value="100R"),  # a filter of more ohms than are looked through
        polarised("C9", "xf", "GND"),
        make("Q2", "npn", collector="xf", base="xc", emitter="xd"),
        make("B1", "button", "+15V", "xbutton"),
        make("C7", "capacitor", "xbutton", "GND", value="100n"),
        make("D9", "led", "+15V", "xled"),
        make("L1", "ferrite", "+15V", "OU1"),
    ]
    found = roles(parts)
    assert {name: found[name].role for name in ("xe", "xs", "xf", "xbutton", "xled", "OU1")} == dict.fromkeys(
        ("xe", "xs", "xf", "xbutton", "xled", "OU1"), "signal"
    )


def test_a_series_diode_takes_its_drop() -> None:
    parts = [
        make("J1", "connector", "+12V", "GND"),
        make("D1", "diode", "+12V", "x1"),
        polarised("C1", "x1", "GND"),
        make("Q1", "npn", collector="x1", base="xb", emitter="xe"),
    ]
    hints = Hints(net_roles={"+12V": ("rail", 12.0)})
    found = roles(parts, hints)
    assert said(found["x1"]) == ("rail", "positive", pytest.approx(11.3))


def test_a_diode_that_protects_a_regulator_tells_nothing_of_its_input() -> None:
    parts = [
        make("J1", "connector", "x1", "GND"),
        make("U1", "regulator", value="7812", record=fixed("7812", 12), input="x1", ground="GND", output="x2"),
        make("D1", "diode", "x2", "x1"),
        polarised("C1", "x1", "GND"),
    ]
    found = roles(parts)
    assert (said(found["x1"])[2], said(found["x2"])[2]) == (None, 12.0)


def test_a_diode_into_a_rail_with_a_rectifier_of_its_own_tells_nothing() -> None:
    parts = [
        make("J1", "connector", "+12V", "GND"),
        make("D1", "diode", "+12V", "x1"),
        make("D2", "diode", "xac", "x1"),
        polarised("C1", "x1", "GND"),
        make("Q1", "npn", collector="x1", base="xb", emitter="xe"),
    ]
    found = roles(parts, Hints(net_roles={"+12V": ("rail", 12.0)}))
    assert found["x1"].volts is None


def test_the_entry_before_a_diode_and_a_fuse_is_a_rail() -> None:
    parts = [
        make("J1", "connector", "x1", "GND"),
        make("F1", "fuse", "x1", "x2", value="1A"),
        make("D1", "diode", "x2", "x3"),
        make("D2", "surge diode", "x1", "GND"),
        polarised("C1", "x3", "GND"),
        opamp("U1", "x3", "GND"),
    ]
    found = roles(parts)
    assert said(found["x3"]) == ("rail", "positive", None)
    assert said(found["x1"])[:2] == ("rail", "positive")
    assert found["x2"].role == "rail"


def test_clamps_make_no_rail_of_an_input() -> None:
    parts = [
        *DUAL,
        make("J5", "connector", tip="xin", sleeve="GND"),
        make("D1", "diode", "xin", "+15V"),
        make("D2", "diode", "-15V", "xin"),
        make("R5", "resistor", "xin", "PU2", value="1k"),
    ]
    assert roles(parts)["xin"].role == "signal"
    bare = [*parts[:-1], make("C5", "capacitor", "xin", "PU2", value="1u")]
    assert roles(bare)["xin"].role == "signal"


def test_rectifiers_of_single_diodes() -> None:
    parts = [
        make("J1", "connector", "xa"), make("J2", "connector", "xb"),
        make("D1", "diode", "GND", "xa"), make("D2", "diode", "GND", "xb"),
        make("D3", "diode", "xa", "HT"), make("D4", "diode", "xb", "HT"),
        make("J3", "connector", "HT"), make("J4", "connector", "GND"),
    ]  # fmt: skip
    found = roles(parts)
    assert said(found["HT"]) == ("rail", "positive", None) and "rectified by D3 and D4" in found["HT"].origin
    assert found["xa"].role == "signal"


def test_a_discrete_board_by_its_reservoirs() -> None:
    parts = [
        make("J1", "connector", "x1", "GND", "x2"),
        polarised("C1", "x1", "GND", "1000u"),
        polarised("C2", "GND", "x2", "1000u"),
        make("Q1", "npn", collector="x1", base="xb", emitter="xo"),
        make("Q2", "pnp", collector="x2", base="xb", emitter="xo"),
        make("J2", "connector", "xo", "GND"),
    ]
    found = roles(parts)
    assert found["x1"].sign == "positive" and found["x2"].sign == "negative"
    assert "comes in at J1 onto C1" in found["x1"].origin
    assert found["xo"].role == "signal"


def test_a_battery_and_a_zener() -> None:
    parts = [
        make("BT1", "battery", "x1", "GND", value="9V"),
        make("R1", "resistor", "x1", "x2", value="470"),
        make("D1", "zener", "GND", "x2", value="5V1"),
        opamp("U1", "x2", "GND"),
    ]
    found = roles(parts)
    assert said(found["x1"]) == ("rail", "positive", 9)
    assert said(found["x2"]) == ("rail", "positive", pytest.approx(5.1))
    assert found["x2"].origin.startswith("held by D1")


def test_two_contacts_of_one_plug_feed_a_rectifier() -> None:
    parts = [
        *DUAL,
        make("J5", "connector", "xa", "GND", "xb"),
        make("D1", "diode", "x1", "xa"),
        make("D2", "diode", "x1", "xb"),
    ]
    found = roles([*parts, polarised("C5", "GND", "x1", "4700u"), make("U5", "regulator", input="x1", output="x2")])
    assert said(found["x1"])[:2] == ("rail", "negative") and "rectified by D1 and D2" in found["x1"].origin
    assert found["xa"].role == found["xb"].role == "signal"


def test_a_slow_input_is_no_supply() -> None:
    parts = [*DUAL, make("J5", "connector", "RST", "GND"), polarised("C5", "RST", "GND", "10u")]
    parts += [make("J6", "connector", "T1", "GND"), polarised("C6", "T1", "GND", "10u")]
    parts += [make("R6", "resistor", "T1", "+15V", value="4k7"), make("U9", "microcontroller", "RST", "T1")]
    found = roles(parts)
    assert found["T1"].role == "signal" and found["RST"].role == "signal"


def test_volts_without_a_sign_may_name_a_bias() -> None:
    divider = [make("R5", "resistor", "+15V", "4.5V", value="10k"), make("R6", "resistor", "4.5V", "GND", value="10k")]
    loads = [polarised("C5", "4.5V", "GND", "47u"), make("R7", "resistor", "4.5V", "PU1", value="1M")]
    assert roles([*DUAL, *divider, *loads])["4.5V"].role == "signal"
    assert roles([*DUAL, make("J5", "connector", "4.5V", "GND")])["4.5V"].role == "rail"


def test_an_open_pin_is_no_rail() -> None:
    parts = [
        *DUAL,
        make("U9", "microcontroller", supply_plus="x1", ground="GND"),
        make("U8", "regulator", output="x2", input="+15V"),
    ]
    found = roles(parts)
    assert found["x1"].role == "signal" and found["x2"].role == "signal"


def test_a_selector_switch_does_not_carry_volts() -> None:
    switch = make("SW1", "switch", "+15V", "VIN", "-15V")
    found = roles([*DUAL, switch, make("C5", "capacitor", "VIN", "GND", value="10u")])
    assert said(found["VIN"]) == ("rail", "positive", None)


def test_a_ground_that_a_link_joins_to_a_rail_has_its_volts() -> None:
    parts = [
        *DUAL,
        make("R5", "resistor", "-15V", "DGND", value="0R"),
        make("U8", "regulator", value="7805", record=fixed("7805", 5), input="+15V", ground="DGND", output="+5V"),
        make("U9", "microcontroller", supply_plus="+5V", ground="DGND"),
    ]
    found = roles(parts)
    assert found["DGND"].role == "ground" and found["DGND"].volts == -15
    assert "joined to -15V by R5" in found["DGND"].origin
    assert found["+5V"].volts == -10


def test_the_middle_of_two_rectifiers_is_a_ground() -> None:
    parts = [
        make("D1", "bridge", alternating=("xa", "xb"), plus="x1", minus="x0"),
        make("D2", "bridge", alternating=("xc", "xd"), plus="x0", minus="x2"),
        polarised("C1", "x1", "x0", "4700u"),
        polarised("C2", "x0", "x2", "4700u"),
        make("J1", "connector", "x1", "x0", "x2"),
    ]
    found = roles(parts)
    assert found["x0"].role == "ground" and found["x0"].volts == 0
    assert found["x1"].sign == "positive" and found["x2"].sign == "negative"
    cells = [make("BT1", "battery", "x1", "x0", value="9V"), make("BT2", "battery", "x0", "x2", value="9V")]
    jack = make("J1", "connector", tip="PU1", sleeve="x0")
    halves = roles([*cells, opamp("U1", "x1", "x2"), jack])
    assert said(halves["x1"]) == ("rail", "positive", 9) and said(halves["x2"]) == ("rail", "negative", -9)
    assert halves["x0"].role == "ground"
    series = roles([*renamed(cells, {"x2": "GND"}), opamp("U1", "x1", "GND"), make("R1", "resistor", "x0", "PU1")])
    assert series["x0"].role == "rail" and series["GND"].role == "ground"


def test_before_and_behind_on_a_negative_rail() -> None:
    parts = [*DUAL, make("J5", "connector", "x1", "GND"), make("D1", "diode", "-15V", "x1")]
    assert roles(parts)["x1"].origin == "before D1 from -15V"


def test_earth_is_the_ground_where_most_returns_to_it() -> None:
    parts = [part for part in renamed(DUAL, {"GND": "Earth"}) if part.kind != "opamp"]
    found = roles([*parts, make("J9", "connector", "GNDPWR", "Earth")])
    assert found["Earth"].role == "ground" and found["Earth"].volts == 0


def test_parts_that_are_not_fitted_say_nothing() -> None:
    parts = [*DUAL, make("F1", "fuse", "+15V", "x1", fitted=False), opamp("U9", "x2", "x3")]
    absent = [replace(part, fitted=False) if part.ref == "U9" else part for part in parts]
    found = roles(absent)
    assert {found[name].role for name in ("x1", "x2", "x3")} == {"signal"}
