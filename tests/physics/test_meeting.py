"""What it does when nets meet that should not."""

from __future__ import annotations

import pytest
from physics_builder import board, circuit, part, shuffled

from netcheck.circuit.model import Circuit, Part, join
from netcheck.physics.mating import Joint, Mating, matings
from netcheck.physics.meeting import EFFECTS, effect, goes_nowhere, ground_lost, palindrome, protected, wired


def header(nets: str, *others: Part, **more: object) -> Circuit:
    return circuit(part("J1", nets, family="header", **({"keyed": False} | more)), *others)


def way(whole: Circuit, name: str, joints: tuple[Joint, ...] = ()) -> Mating:
    return next(m for m in matings(whole, joints, most_supply_pins=6) if f"{m.way} {m.step}".startswith(name))


def effects(whole: Circuit, name: str = "turned", joints: tuple[Joint, ...] = ()) -> list[str]:
    joined = wired(whole, matings(whole, joints, most_supply_pins=6))
    return [
        effect(whole, whole.nets[c.here], whole.nets[c.there] if c.there else None, joined)
        for c in way(whole, name, joints).contacts
    ]


@pytest.mark.parametrize(
    ("nets", "found"),
    [
        ("+15V -15V", ["rail on rail", "rail on rail"]),
        ("+15V_A +15V_B", ["rails alike", "rails alike"]),
        ("+15V GND", ["rail on ground", "rail on ground"]),
        ("+15V CHASSIS", ["rail on ground", "rail on ground"]),
        ("+15V IN", ["rail on signal", "rail on signal"]),
        ("IN GND", ["ground on signal", "ground on signal"]),
        ("IN OUT", ["signals exchanged", "signals exchanged"]),
        ("GND EARTH", ["grounds exchanged", "grounds exchanged"]),
        ("GND GNDA", ["grounds exchanged", "grounds exchanged"]),
        ("MAINS_L MAINS_N", ["mains", "mains"]),
        ("MAINS_L GND", ["mains", "mains"]),
        ("+15V +15V", ["same", "same"]),
        ("-15V GND +15V GND -15V", ["same"] * 5),
        ("+15V -", ["left open", "left open"]),
        ("GND -", ["ground left open", "ground left open"]),
    ],
)
def test_effects_of_a_turned_plug(nets: str, found: list[str]) -> None:
    assert effects(header(nets)) == found
    assert set(found) <= set(EFFECTS)


def test_rails_of_unknown_volts_are_not_alike() -> None:
    told = {"VA": {"role": "rail"}, "VB": {"role": "rail"}}
    assert effects(circuit(part("J1", "VA VB", keyed=False), nets=told)) == ["rail on rail"] * 2


def test_grounds_of_one_domain_are_one() -> None:
    whole = header("GND GNDA", part("NT1", "GND GNDA"))
    assert effects(whole) == ["same", "same"]
    assert palindrome(whole, way(whole, "turned"))


def test_a_shift_that_leaves_the_ground_open() -> None:
    whole = header("+15V OUT GND")
    assert effects(whole, "shifted by one pin towards") == ["rail on signal", "ground on signal", "ground left open"]
    assert ground_lost(whole, way(whole, "shifted by one pin towards"))
    assert not ground_lost(whole, way(whole, "right"))
    assert not ground_lost(header("+15V GND GND"), way(header("+15V GND GND"), "shifted by one pin towards"))


def test_nothing_is_lost_where_there_was_no_ground() -> None:
    whole = header("+15V -15V")
    assert not ground_lost(whole, way(whole, "turned"))


def test_a_named_net_with_one_pin_is_meant_and_an_unnamed_one_is_not() -> None:
    whole = header("IN -")
    named, unnamed = (whole.nets[pin.net] for pin in whole.parts["amp/J1"].pins)
    assert not goes_nowhere(whole, named) and goes_nowhere(whole, unnamed)


BRIDGE = part("BR1", "alternating:AC1 alternating:AC2 plus:+24V minus:GND")
DIODES = (
    part("D1", "cathode:+24V anode:AC1", text="1N4002"),
    part("D2", "cathode:+24V anode:AC2", text="1N4002"),
    part("D3", "cathode:AC1 anode:GND", text="1N4002"),
    part("D4", "cathode:AC2 anode:GND", text="1N4002"),
)


@pytest.mark.parametrize("rectifier", [(BRIDGE,), DIODES])
def test_the_ends_of_a_winding_may_change_places(rectifier: tuple[Part, ...]) -> None:
    whole = header("AC1 GND AC2", *rectifier)
    assert effects(whole) == ["same", "same", "same"]
    assert palindrome(whole, way(whole, "turned"))


def test_half_a_rectifier_tells_its_ends_apart() -> None:
    assert effects(header("AC1 AC2", *DIODES[:3])) == ["signals exchanged"] * 2


def test_two_bridges_are_two_windings() -> None:
    second = part("BR2", "alternating:AC3 alternating:AC4 plus:+24V minus:GND")
    assert effects(header("AC1 AC3", BRIDGE, second)) == ["signals exchanged"] * 2


def test_ends_that_are_used_elsewhere_too_are_told_apart() -> None:
    sense = part("R1", "AC1 SENSE", 10e3)
    assert effects(header("AC1 AC2", BRIDGE, sense)) == ["signals exchanged"] * 2
    other = part("J2", "AC1 GND", keyed=True)
    assert effects(header("AC1 AC2", BRIDGE, other)) == ["signals exchanged"] * 2


def test_the_two_inputs_of_a_package_are_not_exchangeable() -> None:
    package = part("U1", "output:O1 plus:A output:O2 plus:B supply_plus:+15V supply_minus:-15V")
    assert effects(header("A B", package)) == ["signals exchanged"] * 2


def test_a_secondary_with_two_ends() -> None:
    one = part("T1", "winding:MAINS_L winding:MAINS_N winding:S1 winding:S2")
    two = part("T1", "winding:MAINS_L winding:MAINS_N winding:S1 winding:S2 winding:S3 winding:S4")
    assert effects(header("S1 S2", one)) == ["same", "same"]
    assert effects(header("S1 S2", two)) == ["signals exchanged"] * 2


def test_a_primary_that_a_connector_brings_out_while_the_secondaries_are_used() -> None:
    core = part("T1", "winding:P1 winding:P2 winding:S1 winding:GND winding:S2")
    bridge = part("BR1", "alternating:S1 alternating:S2 plus:+24V minus:-24V")
    assert effects(header("P1 P2", core, bridge)) == ["same", "same"]
    assert effects(header("P1 P2", core, bridge, part("R1", "P1 GND", 1e6))) == ["signals exchanged"] * 2


def boards(amp: str, supply: str, *others: Part) -> Circuit:
    return join(
        (
            board(part("J1", amp, keyed=False), *others, name="amp"),
            board(part("J2", supply, keyed=False), name="supply"),
        )
    )


LEAD = (Joint("amp/J1", "supply/J2"),)


def test_across_a_cable_same_is_what_meets_when_all_is_right() -> None:
    whole = boards("-15V GND +15V GND -15V", "-15V GND +15V GND -15V")
    assert effects(whole, "right", LEAD) == ["same"] * 5
    assert effects(whole, "turned", LEAD) == ["same"] * 5
    assert effects(boards("+15V GND -15V", "+15V GND -15V"), "turned", LEAD) == ["rail on rail", "same", "rail on rail"]


def test_across_a_cable_the_ends_of_a_winding_may_change_places() -> None:
    assert effects(boards("AC1 AC2", "S1 S2", BRIDGE), "turned", LEAD) == ["same", "same"]


def test_palindrome_of_the_right_way_looks_at_the_pins() -> None:
    good, bad = header("-15V GND +15V GND -15V"), header("+15V GND -15V")
    assert palindrome(good, way(good, "right")) and not palindrome(bad, way(bad, "right"))
    assert palindrome(good, way(good, "turned")) and not palindrome(bad, way(bad, "turned"))


LOAD = part("U1", "output:O minus:O plus:GND supply_plus:VIN supply_minus:GND")


@pytest.mark.parametrize(
    ("others", "found"),
    [
        ((LOAD,), False),
        ((part("D1", "anode:VIN cathode:VB"),), True),
        ((part("D1", "cathode:VIN anode:VB"), part("C1", "VIN GND", polarised=False)), True),
        ((part("D1", "anode:VIN cathode:VB"), LOAD), False),
        ((part("D1", "anode:VIN cathode:VB"), part("C1", "VIN GND", polarised=True)), False),
        ((part("D1", "anode:VIN cathode:VB"), part("C1", "VIN GND")), None),
        ((part("D1", "anode:GND cathode:VIN"), LOAD), False),
        ((part("F1", "VIN VB"), part("D1", "anode:GND cathode:VB")), True),
        ((part("RT1", "VIN VB"), part("Z1", "anode:GND cathode:VB")), True),
        ((part("F1", "VIN VB"), part("C1", "VB GND", polarised=True)), False),
        ((part("FB1", "VIN VB"), part("D1", "anode:VB cathode:VC")), True),
        ((part("FB1", "VIN VB"), part("D1", "anode:GND cathode:VB")), False),
        ((part("Q1", "gate:G source:VB drain:VIN"), part("R1", "G GND", 1e5)), True),
        ((part("Q1", "gate:GND source:VB drain:VIN"),), True),
        ((part("Q1", "gate:GND source:VIN drain:VB"),), False),
        ((part("Q1", "gate:G source:VB drain:VIN"),), False),
        ((part("Q1", "G VB VIN"),), None),
        ((BRIDGE,), None),
        ((part("BR1", "alternating:VIN alternating:GND plus:VB minus:VC"),), True),
        ((part("R1", "VIN VB", 10.0),), None),
        ((part("X1", "VIN VB"),), None),
        ((part("D1", "anode:VIN cathode:VB"), part("J2", "VIN GND")), None),
        ((), None),
    ],
)
def test_protection_behind_a_pin(others: tuple[Part, ...], found: bool | None) -> None:
    whole = header("VIN GND", *others)
    assert protected(whole, whole.nets["amp/net/VIN"]) is found


def test_a_ground_is_protected_by_a_fet_in_the_return_only() -> None:
    plain = header("VIN GND", part("C1", "VIN GND", polarised=False))
    assert protected(plain, plain.nets["amp/net/GND"]) is False
    with_fet = circuit(part("J1", "+12V GND"), part("Q1", "gate:+12V source:GNDB drain:GND", kind="nmos"))
    assert protected(with_fet, with_fet.nets["amp/net/GND"]) is True


def test_the_order_of_listing_changes_nothing() -> None:
    whole = header("AC1 GND AC2 +15V", *DIODES)
    for seed in range(5):
        assert effects(shuffled(whole, seed)) == effects(whole)
