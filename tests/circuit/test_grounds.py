"""Grounds, their domains, the zero, earth and chassis, and the mains side. Small circuits made by hand."""

from __future__ import annotations

from net_builder import DUAL, WORDS, make, opamp, renamed, roles, said, supply

from netcheck.circuit.rails import assign_net_roles

# ---- grounds ----------------------------------------------------------------------------------------------------


def test_domains_are_joined_by_links_and_not_by_resistors() -> None:
    parts = [
        *DUAL,
        make("R20", "resistor", "GND", "GNDA", value="0R"),
        make("R21", "resistor", "GND", "GNDD", value="10R"),
        make("JP1", "jumper", "GND", "GND2", library_part="SolderJumper_2_Open"),
        make("JP2", "jumper", "GNDD", "GND3", library_part="SolderJumper_2_Bridged"),
    ]
    found = roles(parts)
    assert found["GNDA"].domain == found["GND"].domain == "b/net/GND"
    assert found["GNDD"].domain == found["GND3"].domain != "b/net/GND"
    assert found["GND2"].domain == "b/net/GND2"
    assert found["GNDA"].volts == 0
    assert found["GNDD"].volts == 0 and "joined to GND" in found["GNDD"].origin
    assert found["GND2"].volts is None


def test_a_ground_behind_a_link_or_a_hum_breaker_without_a_name() -> None:
    parts = [
        *DUAL,
        make("R20", "resistor", "GND", "x1", value="0"),
        make("J7", "connector", tip="xt", sleeve="x1"),
        make("R21", "resistor", "GND", "x2", value="10"),
        make("J8", "connector", tip="xu", sleeve="x2"),
        make("R22", "resistor", "GND", "PU2", value="0"),
    ]
    found = roles(parts)
    assert found["x1"].role == "ground" and found["x1"].domain == "b/net/GND"
    assert found["x2"].role == "ground" and found["x2"].domain == "b/net/x2"
    assert found["PU2"].role == "signal"


def test_a_ground_by_name_may_be_the_negative_supply() -> None:
    parts = [
        make("BT1", "connector", "+9V", "GND"),
        make("U2", "opamp", supply_plus="+9V", supply_minus="GND", plus="xdiv", minus="VGND", output="VGND"),
        make("R1", "resistor", "+9V", "xdiv", value="10k"),
        make("R2", "resistor", "xdiv", "GND", value="10k"),
        opamp("U1", "+9V", "GND"),
        make("J1", "connector", tip="xin", sleeve="VGND"),
        make("J2", "connector", tip="OU1", sleeve="VGND"),
        make("R3", "resistor", "PU1", "VGND", value="100k"),
    ]
    found = roles(parts)
    assert found["VGND"].role == "ground" and found["VGND"].volts == 0
    assert said(found["GND"]) == ("rail", "negative", None)
    assert "signals return to VGND" in found["GND"].origin


def test_a_bridged_output_is_no_virtual_ground() -> None:
    parts = [
        make("J1", "connector", "VCC", "GND", "PU1"),
        opamp("U1", "VCC", "GND"),
        opamp("U2", "VCC", "GND"),
        make("J2", "connector", tip="OU1", sleeve="OU2"),
    ]
    found = roles(parts)
    assert found["GND"].role == "ground" and found["OU2"].role == "signal"


def test_earth_and_chassis_are_ground_only_where_they_serve_as_one() -> None:
    apart = roles([*DUAL, make("H1", "hole", "CHASSIS"), make("R9", "resistor", "CHASSIS", "GND", value="10R")])
    assert apart["CHASSIS"].role == "chassis"
    served = roles(renamed(DUAL, {"GND": "Earth"}))
    assert served["Earth"].role == "ground" and served["Earth"].volts == 0
    holes = roles([*DUAL, make("H1", "hole", "x1"), make("H2", "hole", "x1")])
    assert holes["x1"].role == "chassis"


# ---- the mains side -------------------------------------------------------------------------------------------


def test_the_mains_side_is_what_is_galvanically_on_it() -> None:
    parts = [
        make("J9", "inlet", terminal=("L", "Earth"), ground="PE"),
        make("F1", "fuse", "L", "xf"),
        make("SW1", "switch", "xf", "xs"),
        make("T1", "transformer", description="mains transformer 230 V", winding=("xs", "Earth", "AC1", "GND", "AC2")),
        make("C1", "capacitor", "Earth", "PE", value="2.2n"),
        make("R9", "resistor", "L", "xr", value="1M"),
        *supply("+15V", "-15V")[1:],
    ]
    found = roles(parts)
    assert {found[name].role for name in ("L", "Earth", "xf", "xs", "xr")} == {"mains"}
    assert found["PE"].role == "earth"
    assert found["AC1"].role == "signal" and found["GND"].role == "ground"
    assert said(found["+15V"]) == ("rail", "positive", 15)
    assert "on J9, an inlet" in found["Earth"].origin


def test_a_name_makes_no_mains() -> None:
    found = roles(
        [*DUAL, make("R9", "resistor", "MAINS_L", "LIVE", value="1k"), make("J9", "connector", "MAINS_L", "LIVE")]
    )
    assert found["MAINS_L"].role == "signal" and found["LIVE"].role == "signal"


def test_names_at_the_two_ends_of_a_winding_say_nothing() -> None:
    core = make("T1", "transformer", winding=("VCC", "Earth", "AC1", "AC2"))
    found = roles([*DUAL, make("J9", "connector", "VCC", "Earth"), core])
    assert found["VCC"].role == "signal" and found["Earth"].role == "signal"
    tapped = make("T1", "transformer", winding=("VCC", "Earth", "xm", "AC2"))
    found = roles([*DUAL, make("J9", "connector", "VCC", "Earth", "xm"), tapped])
    assert found["Earth"].role != "signal"


def test_an_empty_board() -> None:
    assert assign_net_roles((), (), WORDS) == ()
