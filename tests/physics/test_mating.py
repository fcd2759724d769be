"""Which pin meets which position, and which ways are thought of at all."""

from __future__ import annotations

import pytest
from physics_builder import board, circuit, part, shuffled

from netcheck.circuit.model import Circuit, join
from netcheck.physics.mating import Joint, Mating, matings


def ways(whole: Circuit, joints: tuple[Joint, ...] = ()) -> dict[str, Mating]:
    return {f"{m.way} {m.step}".strip(): m for m in matings(whole, joints, most_supply_pins=6)}


def meets(mating: Mating) -> list[str]:
    return [contact.meets or "-" for contact in mating.contacts]


def header(nets: str, **more: object) -> Circuit:
    return circuit(part("J1", nets, family="header", **({"keyed": False} | more)))


def test_one_row_turned_and_shifted_both_ways() -> None:
    found = ways(header("+15V GND -15V OUT"))
    assert meets(found["right"]) == ["1", "2", "3", "4"]
    assert meets(found["turned"]) == ["4", "3", "2", "1"]
    assert meets(found["shifted by one pin towards pin 1"]) == ["2", "3", "4", "-"]
    assert meets(found["shifted by one pin away from pin 1"]) == ["-", "1", "2", "3"]
    assert len(found) == 4


def test_two_rows_to_and_fro_shift_by_two_numbers_or_to_the_neighbour() -> None:
    found = ways(header("A B C D E F", rows=2))
    assert meets(found["turned"]) == ["6", "5", "4", "3", "2", "1"]
    assert meets(found["shifted by one column towards pin 1"]) == ["3", "4", "5", "6", "-", "-"]
    assert meets(found["shifted by one column away from pin 1"]) == ["-", "-", "1", "2", "3", "4"]
    assert meets(found["shifted across the rows, towards the odd pins"]) == ["2", "-", "4", "-", "6", "-"]
    assert meets(found["shifted across the rows, towards the even pins"]) == ["-", "1", "-", "3", "-", "5"]
    assert len(found) == 6


def test_two_rows_counted_round_turn_onto_the_opposite_pin() -> None:
    # pins 1 2 3 in one row, 6 5 4 beside them
    found = ways(header("A B C D E F", rows=2, footprint="Package_DIP:DIP-6_W7.62mm"))
    assert meets(found["turned"]) == ["4", "5", "6", "1", "2", "3"]
    assert meets(found["shifted by one column towards pin 1"]) == ["2", "3", "-", "-", "4", "5"]
    assert meets(found["shifted by one column away from pin 1"]) == ["-", "1", "2", "5", "6", "-"]
    assert meets(found["shifted across the rows, towards the row of pin 1"]) == ["6", "5", "4", "-", "-", "-"]


def test_an_open_pin_has_no_net_there() -> None:
    last = ways(header("+15V GND -15V"))["shifted by one pin towards pin 1"].contacts
    assert [contact.there for contact in last] == ["amp/net/GND", "amp/net/-15V", None]


def test_positions_of_the_housing_beyond_the_drawn_pins_count_when_turned() -> None:
    found = ways(header("+15V GND -15V", positions=4))
    assert meets(found["turned"]) == ["-", "3", "2"]


def test_mounting_pads_stay_where_they_are() -> None:
    found = ways(header("1=+15V 2=GND MP=CHASSIS", positions=2))
    assert meets(found["turned"]) == ["2", "1", "MP"]


def test_numbered_mounting_pads_stay_too_but_a_gap_in_the_numbers_is_a_place() -> None:
    pads = ways(header("1=+15V 2=GND 3=CHASSIS 4=CHASSIS", positions=2))
    assert meets(pads["turned"]) == ["2", "1", "3", "4"]
    gap = ways(header("1=+15V 2=GND 4=-15V", positions=3))
    assert meets(gap["turned"]) == ["4", "-", "1"]


@pytest.mark.parametrize(("keyed", "possible"), [(False, True), (None, None)])
def test_possible_follows_the_housing(keyed: bool | None, possible: bool | None) -> None:
    found = ways(header("+15V GND", keyed=keyed))
    assert found["turned"].possible is possible
    assert found["right"].possible is True


@pytest.mark.parametrize("more", [{"keyed": True}, {"keyed": None, "family": "wire to board"}])
def test_a_keyed_housing_goes_one_way(more: dict[str, object]) -> None:
    assert list(ways(circuit(part("J1", "+15V GND", **({"family": "header"} | more))))) == ["right"]


@pytest.mark.parametrize(
    "family", ["jack", "xlr", "rca", "barrel", "usb", "screw terminal", "card edge", "blade", "pads"]
)
def test_connectors_that_cannot_go_wrong_are_left_out(family: str) -> None:
    assert not ways(circuit(part("J1", "+15V GND", family=family, keyed=False)))


def test_a_socket_drawn_as_a_plain_connector_is_known_by_its_pins() -> None:
    assert not ways(circuit(part("J1", "tip:IN sleeve:GND")))


def test_one_pin_an_unfitted_connector_and_other_kinds_have_no_matings() -> None:
    whole = circuit(part("J1", "GND"), part("J2", "A B", fitted=False), part("R1", "A B", 10.0))
    assert not ways(whole)


@pytest.mark.parametrize(
    ("nets", "entry"),
    [
        ("+15V GND -15V", True),
        ("+15V GND OUT", False),
        ("GND GND", False),
        ("+15V - GND", True),
        ("+15V GND -15V +15V GND -15V GND", False),
    ],
)
def test_supply_entry(nets: str, entry: bool) -> None:
    assert ways(header(nets))["turned"].supply_entry is entry


def test_the_limit_of_a_supply_entry_is_the_callers() -> None:
    whole = header("+15V GND -15V")
    assert not any(m.supply_entry for m in matings(whole, most_supply_pins=2))


def two_boards(amp: str = "+15V GND -15V", supply: str = "+15V GND -15V", **more: object) -> Circuit:
    near = board(part("J1", amp, family="header", **({"keyed": False} | more)), name="amp")
    far = board(part("J2", supply, family="header", **({"keyed": False} | more)), name="supply")
    return join((near, far))


def test_a_cable_brings_the_nets_of_the_other_board() -> None:
    joint = Joint("supply/J2", "amp/J1", "power lead")
    found = ways(two_boards(), (joint,))
    assert [(c.here, c.there) for c in found["turned"].contacts] == [
        ("amp/net/+15V", "supply/net/-15V"),
        ("amp/net/GND", "supply/net/GND"),
        ("amp/net/-15V", "supply/net/+15V"),
    ]
    assert {(m.near, m.far, m.cable) for m in found.values()} == {("amp/J1", "supply/J2", "power lead")}


def test_the_same_contacts_at_the_other_end_are_listed_once() -> None:
    found = matings(two_boards(), (Joint("amp/J1", "supply/J2"),), most_supply_pins=6)
    assert [m.way for m in found] == ["right", "turned", "shifted", "shifted"]


def test_a_crossed_cable_is_looked_at_from_both_ends() -> None:
    joint = Joint("amp/J1", "supply/J2", wires=(("1", "2"), ("2", "1"), ("3", "3")))
    turned = [m for m in matings(two_boards(), (joint,), most_supply_pins=6) if m.way == "turned"]
    assert [(m.near, meets(m)) for m in turned] == [("amp/J1", ["3", "1", "2"]), ("supply/J2", ["3", "1", "2"])]
    assert len({m.key for m in turned}) == 2


def test_a_wire_left_out_leaves_its_pin_open() -> None:
    joint = Joint("amp/J1", "supply/J2", wires=(("1", "1"), ("2", "2")))
    assert ways(two_boards(), (joint,))["right"].contacts[2].there is None


def test_the_other_housing_decides_when_the_first_is_not_known() -> None:
    near = board(part("J1", "+15V GND", keyed=None), name="amp")
    far = board(part("J2", "+15V GND", keyed=False), name="supply")
    found = ways(join((near, far)), (Joint("amp/J1", "supply/J2"),))
    assert found["turned"].possible is True


def test_the_cable_may_say_that_it_is_keyed() -> None:
    assert list(ways(two_boards(), (Joint("amp/J1", "supply/J2", keyed=True),))) == ["right"]
    assert ways(two_boards(keyed=True), (Joint("amp/J1", "supply/J2", keyed=False),))["turned"].possible is True


def test_a_socket_at_a_cable_has_its_right_way() -> None:
    near = board(part("J1", "tip:IN sleeve:GND", family="jack"), name="amp")
    far = board(part("J2", "IN GND", family="header", keyed=True), name="panel")
    joint = Joint("amp/J1", "panel/J2", wires=(("1", "1"), ("2", "2")))
    assert list(ways(join((near, far)), (joint,))) == ["right"]


def test_a_joint_with_a_part_that_is_not_there_is_refused() -> None:
    with pytest.raises(KeyError, match="J9"):
        matings(two_boards(), (Joint("amp/J1", "supply/J9"),), most_supply_pins=6)


def test_the_order_of_listing_changes_nothing() -> None:
    whole = join(
        (
            board(part("J1", "+15V GND -15V", family="header"), part("J3", "A B C D", rows=2), name="amp"),
            board(part("J2", "+15V GND -15V", family="header", keyed=False), name="supply"),
        )
    )
    joints = (Joint("amp/J1", "supply/J2"),)
    first = matings(whole, joints, most_supply_pins=6)
    assert len({m.key for m in first}) == len(first) == 10
    for seed in range(10):
        turned_round = (Joint("supply/J2", "amp/J1"),) if seed % 2 else joints
        assert matings(shuffled(whole, seed), turned_round, most_supply_pins=6) == first
