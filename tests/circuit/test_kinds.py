"""What a part is taken for, on what evidence, and which contradictions are told."""

from __future__ import annotations

import pytest
from recognition import component, part_of, words

from netcheck.circuit.kinds import reference_letters
from netcheck.circuit.model import KINDS, Hints
from netcheck.circuit.nametables import tables_of


@pytest.mark.parametrize(
    ("value", "part", "footprint", "kind"),
    [
        ("1k", "R-RESCUE-output-xform", "", "resistor"),
        ("4u7", "CP1", "", "capacitor"),
        ("4u7", "C_Polarized_US", "", "capacitor"),
        ("10k", "POTL_1", "", "potentiometer"),
        ("10k", "R_POT", "", "potentiometer"),
        ("10k", "R_POT", "Potentiometer_THT:Potentiometer_Bourns_3296W_Vertical", "trimmer"),
        ("BC547", "Q_NPN_EBC", "", "npn"),
        ("NPN(TO-3P-BCE)", "", "", "npn"),
        ("", "Conn_01x04", "", "connector"),
        ("~", "LM317_3PinPackage", "", "regulator"),
        ("", "Opamp_Dual_Generic", "", "opamp"),
        ("OPA2134", "TL072", "", "opamp"),
        ("RED", "LED_Small_ALT", "", "led"),
        ("1N4148W", "D", "", "diode"),
        ("BZX84C5V1", "D_Zener", "", "zener"),
        ("", "D_Bridge_+-AA", "", "bridge"),
        ("USBLC6-2SC6", "USBLC6-2SC6", "", "surge diode"),
        ("BC847BS", "BC847BS", "", "transistor array"),
        ("LM13700", "LM13700", "", "transconductance amplifier"),
        ("ATMEGA328P-PU", "", "", "microcontroller"),
        ("74LS00", "74LS00", "", "logic"),
        ("", "NetTie_2", "", "link"),
        ("", "SolderJumper_2_Bridged", "", "jumper"),
        ("", "MountingHole_Pad", "", "hole"),
        ("2N3819", "Q_NJFET_DGS", "", "njfet"),
        ("12AX7", "ECC83", "", "valve"),
        ("4N25", "4N25", "", "optocoupler"),
    ],
)
def test_value_and_library_part_tell_whatever_the_reference(value: str, part: str, footprint: str, kind: str) -> None:
    found = part_of(component("X1", value, part, footprint, "1 2"))
    assert found.kind == kind, found.because
    assert found.because


@pytest.mark.parametrize(
    ("pins", "kind"),
    [
        ("1=A 2=K", "diode"),
        ("1=VI 2=GND 3=VO", "regulator"),
        ("1 2=- 3=+ 4=V- 5=V+", "opamp"),
        ("T= S= TN=", "connector"),
    ],
)
def test_pins_tell_where_names_do_not(pins: str, kind: str) -> None:
    found = part_of(component("X1", "thing", "thing", pins=pins))
    assert found.kind == kind
    assert found.because.startswith("its pins are")


def test_a_transistor_of_unknown_polarity_stays_unknown_and_says_so() -> None:
    found = part_of(component("Q1", "mystery", "mystery", pins="1=B 2=C 3=E"))
    assert found.kind == "unknown"
    assert "NPN or PNP" in found.because


def test_description_tells() -> None:
    text = "0.2A Ic, 40V Vce, Small Signal NPN Transistor, TO-92"
    assert part_of(component("X1", "XYZ", "XYZ", pins="1=B 2=C 3=E", description=text)).kind == "npn"
    assert part_of(component("X1", "XYZ", "XYZ", description="DC Barrel Jack")).kind == "connector"


@pytest.mark.parametrize(
    ("reference", "footprint", "pins", "kind"),
    [
        ("R1", "", "1 2", "resistor"),
        ("R-IN1", "", "1 2", "resistor"),
        ("C1", "", "1 2", "capacitor"),
        ("U1", "", "1 2 3", "integrated circuit"),
        ("P1", "", "1 2", "unknown"),
        ("P1", "Connector_PinHeader_2.54mm:PinHeader_1x02_P2.54mm_Vertical", "1 2", "connector"),
        ("P1", "Potentiometer_THT:Potentiometer_Alps_RK09L_Single_Horizontal", "1 2 3", "potentiometer"),
        ("K1", "", "1 2", "unknown"),
        ("K1", "TerminalBlock:TerminalBlock_bornier-2_P5.08mm", "1 2", "connector"),
        ("T1", "", "1 2 3", "unknown"),
        ("R1", "", "1 2 3", "unknown"),
    ],
)
def test_letters_with_the_footprint_come_last(reference: str, footprint: str, pins: str, kind: str) -> None:
    assert part_of(component(reference, "", "", footprint, pins)).kind == kind


def test_what_is_told_from_outside_comes_first() -> None:
    each = component("R1", "10k", "R", pins="1 2")
    assert part_of(each, Hints(kinds={"R1": "thermistor"})).kind == "thermistor"
    field = component("R1", "10k", "R", pins="1 2", fields=(("Kind", "fuse"),))
    assert part_of(field).kind == "fuse"
    unknown = component("R1", "10k", "R", pins="1 2", fields=(("Kind", "unknown"),))
    assert part_of(unknown).kind == "unknown"


def test_contradictions_are_told() -> None:
    drawn = part_of(component("Q1", "1k", "R", pins="1 2"))
    assert drawn.kind == "resistor"
    assert "begins with Q" in drawn.conflict and "resistor" in drawn.conflict
    other = part_of(component("U1", "NE5532", "LM7805", pins="1=VI 2=GND 3=VO"))
    assert other.kind == "opamp"
    assert "its value says opamp" in other.conflict and "regulator" in other.conflict
    assert not part_of(component("R1", "1k", "R", pins="1 2")).conflict


def test_a_header_that_bears_a_type_number_stays_a_header() -> None:
    assert part_of(component("J1", "LM317", "Conn_01x03", pins="1 2 3")).kind == "connector"


def test_the_record_is_that_of_the_value_and_not_of_the_symbol() -> None:
    found = part_of(component("U1", "OPA2134", "TL072", "Package_DIP:DIP-8_W7.62mm", "1 2 3 4 5 6 7 8"))
    assert found.record is not None and found.record.name == "OPA2134"
    strange = part_of(component("U1", "QQ9999", "TL072", "Package_DIP:DIP-8_W7.62mm", "1 2 3 4 5 6 7 8"))
    assert strange.kind == "opamp"
    assert strange.record is None or strange.record.generic


def test_parts_that_are_left_out() -> None:
    pins = "1 2"
    for each in (
        component("R1", "DNP", "R", pins=pins),
        component("R1", "1k", "R", pins=pins, flags=frozenset({"not fitted"})),
        component("R1", "1k", "R", pins=pins, fields=(("Config", "DNF"),)),
        component("R1", "1k", "R", pins=pins, fields=(("DNP", "1"),)),
        component("R1", "1k", "R", pins=pins, fields=(("Fitted", "no"),)),
    ):
        assert not part_of(each).fitted, each
    for each in (
        component("R1", "1k", "R", pins=pins, fields=(("Config", "stereo"),)),
        component("R1", "1k", "R", pins=pins, fields=(("DNP", "no"),)),
    ):
        assert part_of(each).fitted, each
    assert not part_of(component("R1", "1k", "R", pins=pins), Hints(not_fitted=frozenset({"R1"}))).fitted
    assert not part_of(component("R1", "1k", "R", pins=pins, flags=frozenset({"not on the board"}))).on_board


@pytest.mark.parametrize(
    ("value", "part", "footprint", "polarised", "told"),
    [
        ("10u", "C", "Capacitor_THT:CP_Radial_D5.0mm_P2.00mm", True, "footprint is polarised"),
        ("10u", "CP", "Capacitor_THT:CP_Radial_D5.0mm_P2.00mm", True, ""),
        ("1u", "CP", "Capacitor_SMD:C_0805_2012Metric", False, "symbol is polarised"),
        ("100n", "C", "Capacitor_SMD:C_0805_2012Metric", False, ""),
        ("10n", "C", "cp_2.54mm", False, "too small"),
        ("100u", "CP", "", True, ""),
        ("100u bipolar", "CP", "", False, ""),
        ("470u", "C", "", None, ""),
        ("470u", "C", "Capacitors_ThroughHole:C_Radial_D10_L20_P5", None, ""),
        ("100n", "C", "", False, ""),
    ],
)
def test_polarity_of_capacitors(value: str, part: str, footprint: str, polarised: bool | None, told: str) -> None:
    found = part_of(component("C1", value, part, footprint, "1 2"))
    assert found.polarised is polarised
    assert told in found.conflict and bool(told) == bool(found.conflict)
    roles = [pin.role for pin in found.pins]
    assert roles == (["plus", "minus"] if polarised else ["end", "end"]) or polarised is False


def test_the_description_of_the_plain_symbol_does_not_speak_of_the_part() -> None:
    """Libraries describe the plain symbol as 'Unpolarized capacitor', also over the pads of an electrolytic."""
    can = "Capacitor_THT:CP_Radial_D10.0mm_P5.00mm"
    plain = component("C1", "2200u", "C", can, "1 2", description="Unpolarized capacitor")
    assert part_of(plain).polarised is True
    assert [pin.role for pin in part_of(plain).pins] == ["plus", "minus"]
    ceramic = component("C1", "100n", "C", "Capacitor_SMD:C_0805_2012Metric", "1 2", description=plain.description)
    assert [pin.role for pin in part_of(ceramic).pins] == ["end", "end"]
    bipolar = component("C1", "47u", "C", can, "1 2", description="Bipolar electrolytic capacitor")
    assert part_of(bipolar).polarised is False


@pytest.mark.parametrize("value", ["1k@100M", "600R@100MHz", "100R @ 100MHz"])
def test_an_impedance_at_a_frequency_is_a_bead(value: str) -> None:
    assert part_of(component("L1", value, "L_Core_Ferrite_Small", "L_0603", "1 2")).kind == "ferrite"
    assert part_of(component("L1", "10u", "L_Core_Ferrite_Small", "L_0603", "1 2")).kind == "inductor"


def test_hints_of_polarity_win() -> None:
    assert part_of(component("C1", "1n", "C", pins="1 2"), Hints(polarised={"C1": True})).polarised is True


def test_tables_hold_only_words_of_the_model() -> None:
    tables = tables_of(words())
    assert {entry.kind for entry in tables.library_parts} <= KINDS
    assert reference_letters("IC12") in tables.letters


@pytest.mark.parametrize(
    ("value", "number", "told"),
    [
        ("BC999", "BD139-10", "its value is BC999, its maker's type number BD139-10"),
        ("BC547B", "BC547BTA", ""),
        ("2N3904", "MMBT3904", ""),
        ("LM1117-3V3", "AMS1117", ""),
        ("Q_NPN", "BC547", ""),
        ("4k7", "BD139-10", ""),
        ("BD139", "", ""),
        ("BD139", "order no. 12345", ""),
    ],
)
def test_value_and_type_number_of_two_types_are_told(value: str, number: str, told: str) -> None:
    part = part_of(component("Q1", value, "Q_NPN_BCE", "", "1=B 2=C 3=E", fields=(("MPN", number),)))
    assert part.two_types == told and told in part.conflict
