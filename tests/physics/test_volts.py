"""Volts that are certain, and what is not."""

from __future__ import annotations

import pytest
from physics_builder import board, circuit, part, shuffled

from netcheck.circuit.model import Circuit, Part, join
from netcheck.language.values import Unknown
from netcheck.physics.volts import net_volts, spoken_net, volts_across, volts_range

ENTRY = part("J1", "+15V GND -15V", family="header")


def volts(name: str, *parts: Part, **more: object) -> float | Unknown:
    return net_volts(circuit(*parts, **more), f"amp/net/{name}")


def test_rails_and_the_ground_are_known() -> None:
    assert [volts(name, ENTRY) for name in ("+15V", "GND", "-15V")] == [15.0, 0.0, -15.0]


@pytest.mark.parametrize("ref", ["F1", "FB1", "L1", "NT1"])
def test_what_conducts_carries_the_volts_on(ref: str) -> None:
    assert volts("VB", ENTRY, part(ref, "+15V VA"), part("R1", "VA VB", 0.0), part("U1", "VB GND")) == 15.0


def test_a_resistor_with_current_does_not() -> None:
    found = volts("VB", ENTRY, part("R1", "+15V VB", 10.0), part("U1", "VB GND", kind="integrated circuit"))
    assert found == Unknown(("the DC voltage of VB is not computed yet",))


def test_a_jumper_does_not() -> None:
    assert isinstance(volts("VB", ENTRY, part("JP1", "+15V VB"), part("U1", "VB GND")), Unknown)


def test_a_choke_with_two_windings_does_not() -> None:
    assert isinstance(volts("VB", ENTRY, part("L1", "VIN VB GND GNDB"), part("U1", "VB GNDB VIN")), Unknown)


def test_the_other_gang_of_a_potentiometer_is_not_reached() -> None:
    gangs = part("RV1", "end:GND wiper:A end:A end:B wiper:C end:D", 1e4)
    parts = (ENTRY, gangs, part("C1", "A X"), part("C2", "B X"), part("C3", "C X"), part("C4", "D X"))
    assert volts("A", *parts) == 0.0
    assert isinstance(volts("C", *parts), Unknown)


def test_a_jumper_that_is_drawn_closed_does() -> None:
    assert volts("VB", ENTRY, part("JP1", "+15V VB", text="bridged"), part("U1", "VB GND")) == 15.0


def test_a_net_between_two_different_rails_by_conductors_is_not_guessed() -> None:
    assert isinstance(volts("X", ENTRY, part("L1", "+15V X"), part("L2", "X GND")), Unknown)


def test_behind_a_resistor_with_nothing_but_capacitors() -> None:
    parts = (ENTRY, part("R1", "GND A", 1e5), part("C1", "A B"), part("C2", "A GND"))
    assert volts("A", *parts) == 0.0
    assert volts("B", *parts, part("U1", "B GND")) != 0.0


def test_a_chain_of_resistors_without_current() -> None:
    parts = (ENTRY, part("R1", "+15V A", 1e3), part("R2", "A B", text="TBD"), part("C1", "B GND"), part("TP1", "B"))
    assert volts("A", *parts) == volts("B", *parts) == 15.0


def test_a_connector_on_the_net_may_bring_anything() -> None:
    found = volts("A", ENTRY, part("R1", "GND A", 1e5), part("C1", "A B"), part("J2", "A GND"))
    assert found == Unknown(("the DC voltage of A is not computed yet",))


def test_a_named_net_with_one_pin_may_bring_anything_too() -> None:
    assert isinstance(volts("IN", ENTRY, part("R1", "GND IN", 1e5)), Unknown)
    open_end = circuit(ENTRY, part("R1", "GND -", 1e5))
    assert net_volts(open_end, "amp/net of R1.2") == 0.0


def test_a_part_that_is_not_fitted_carries_no_current() -> None:
    assert volts("A", ENTRY, part("R1", "GND A", 1e5), part("C1", "A B"), part("J2", "A B", fitted=False)) == 0.0


def test_a_divider_stays_between_its_ends() -> None:
    divider = (part("R1", "+15V A", 1e4), part("RV1", "A A B", 1e4), part("R2", "B GND", 1e4), part("C1", "A GND"))
    assert volts("A", ENTRY, *divider) == Unknown(("the DC voltage of A is not computed yet",), low=0.0, high=15.0)


def test_nothing_is_certain_without_a_ground_or_rail() -> None:
    assert volts("A", part("C1", "A B"), part("R1", "A B", 1e3)) == Unknown(
        ("the DC voltage of A is not computed yet",)
    )


AMPLIFIER = part("U1", "output:O minus:M plus:P supply_plus:+15V supply_minus:-15V")
LOOP = (part("R1", "O M", 1e4), part("R2", "M GND", 1e4), part("R3", "P GND", 1e5), part("C1", "IN P"))


def test_bounds_are_the_rails_where_nothing_can_leave_them() -> None:
    parts = (ENTRY, AMPLIFIER, *LOOP, part("J2", "IN GND"), part("C2", "O OUT"), part("J3", "OUT GND"))
    found = volts("O", *parts)
    assert isinstance(found, Unknown) and (found.low, found.high) == (-15.0, 15.0)
    outside = volts("OUT", *parts)
    assert isinstance(outside, Unknown) and (outside.low, outside.high) == (None, None)


@pytest.mark.parametrize(
    "wild", ["inductor", "transformer", "converter", "module", "integrated circuit", "unknown", "relay"]
)
def test_no_bounds_with_a_part_that_can_make_more(wild: str) -> None:
    found = volts("O", ENTRY, AMPLIFIER, *LOOP, part("X9", "Y GND", kind=wild))
    assert isinstance(found, Unknown) and (found.low, found.high) == (None, None)


def test_no_bounds_with_a_rail_of_unknown_volts() -> None:
    whole = circuit(ENTRY, AMPLIFIER, *LOOP, part("U2", "VX GND"), nets={"VX": {"role": "rail"}})
    found = net_volts(whole, "amp/net/O")
    assert isinstance(found, Unknown) and (found.low, found.high) == (None, None)
    assert net_volts(whole, "amp/net/VX") == Unknown(("the volts of VX are not known",))


def test_a_rail_with_a_sign_has_one_bound() -> None:
    whole = circuit(part("U2", "VX GND"), nets={"VX": {"role": "rail", "sign": "positive"}})
    assert net_volts(whole, "amp/net/VX") == Unknown(("the volts of VX are not known",), low=0.0)


def test_a_range_goes_with_the_rail() -> None:
    told = {"+12V": {"low": 11.4, "high": 12.6}}
    whole = circuit(
        part("F1", "+12V VB"), part("U1", "VB GND"), part("R1", "VB A", 10.0), part("C1", "A GND"), nets=told
    )
    assert volts_range(whole, "amp/net/VB") == volts_range(whole, "amp/net/A") == (11.4, 12.6)
    assert volts_range(whole, "amp/net/GND") == (0.0, 0.0)


def test_two_grounds_that_nothing_joins_leave_one_unknown() -> None:
    whole = circuit(part("U1", "+15V GND GNDX"), nets={"GND": {"volts": 0.0}})
    assert net_volts(whole, "amp/net/GND") == 0.0
    assert net_volts(whole, "amp/net/GNDX") == Unknown(("how GNDX stands to the zero is not known",))


def across(cap: Part, *parts: Part) -> float | Unknown:
    whole = circuit(ENTRY, cap, *parts)
    return volts_across(whole, whole.parts[f"amp/{cap.ref}"])


@pytest.mark.parametrize(
    ("cap", "found"),
    [
        (part("C1", "+15V -15V"), 30.0),
        (part("C1", "minus:+15V plus:GND"), -15.0),
        (part("D1", "cathode:+15V anode:GND"), -15.0),
        (part("C1", "GND GND"), 0.0),
    ],
)
def test_volts_across_a_part(cap: Part, found: float) -> None:
    assert across(cap) == found


def test_volts_across_keep_bounds_and_reasons() -> None:
    found = across(part("C1", "A -15V"), part("R1", "+15V A", 1e4), part("R2", "A GND", 1e4))
    assert found == Unknown(("the DC voltage of A is not computed yet",), low=15.0, high=30.0)


def test_a_part_with_three_ends_has_no_volts_across() -> None:
    assert across(part("RV1", "A B GND", 1e4)) == Unknown(("RV1 has not two ends",))


def test_names_tell_the_board_where_there_are_several() -> None:
    two: Circuit = join((board(part("R1", "A -", 1.0), name="amp"), board(part("R1", "A B", 1.0), name="panel")))
    assert spoken_net(two, two.nets["amp/net/A"]) == "amp.A"
    assert spoken_net(two, two.nets["amp/net of R1.2"]) == "the net of amp.R1 pin 2"
    assert isinstance(net_volts(two, "amp/net/A"), Unknown)


def test_a_net_that_is_not_there_is_an_error() -> None:
    with pytest.raises(KeyError):
        volts("NOWHERE", ENTRY)


def test_the_order_of_listing_changes_nothing() -> None:
    parts = (ENTRY, AMPLIFIER, *LOOP, part("R7", "+15V A", 1e4), part("R8", "A GND", 1e4), part("F1", "+15V VB"))
    whole = circuit(*parts)
    for seed in range(5):
        mixed = shuffled(whole, seed)
        assert all(net_volts(mixed, key) == net_volts(whole, key) for key in whole.nets)
