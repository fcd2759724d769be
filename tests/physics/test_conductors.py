"""Rings of grounds, ties, islands."""

from __future__ import annotations

import pytest
from physics_builder import board, circuit, part, shuffled

from netcheck.circuit.model import Circuit, Part, join
from netcheck.language.values import Unknown
from netcheck.physics.conductors import Conductor, conductors, ground_islands, ground_loops, ties


def refs(whole: Circuit, *extra: Conductor) -> list[list[str]]:
    return [[c.key.split("/")[-1] for c in loop.conductors] for loop in ground_loops(whole, extra)]


def test_two_links_between_the_same_grounds_are_a_ring() -> None:
    whole = circuit(part("R1", "GNDA GNDD", 0.0), part("R2", "GNDA GNDD", 0.0))
    (loop,) = ground_loops(whole)
    assert loop.key == "amp/R1 + amp/R2"
    assert loop.grounds == ("amp/net/GNDA", "amp/net/GNDD")
    assert loop.ohms == 0
    assert not loop.through_case and not loop.inside_one_cable and loop.cables == ()


def test_one_link_is_none() -> None:
    assert not ground_loops(circuit(part("R1", "GNDA GNDD", 0.0)))


@pytest.mark.parametrize(
    "across", [part("C1", "GNDA GNDD"), part("D1", "GNDA GNDD"), part("BR1", "GNDA GNDA GNDD GNDD")]
)
def test_what_bridges_a_gap_for_radio_or_faults_closes_no_ring(across: Part) -> None:
    assert not ground_loops(circuit(part("R1", "GNDA GNDD", 0.0), across))


def test_a_breaker_counts_with_its_ohms() -> None:
    (loop,) = ground_loops(circuit(part("R1", "GNDA GNDD", 0.0), part("R2", "GNDA GNDD", 10.0)))
    assert loop.ohms == 10


def test_a_value_in_doubt_leaves_bounds() -> None:
    (loop,) = ground_loops(circuit(part("R1", "GNDA GNDD", text="TBD"), part("R2", "GNDA GNDD", 10.0)))
    assert loop.ohms == Unknown(("R1 has the value 'TBD'",), low=10.0)


def test_a_jumper_may_close_the_ring() -> None:
    (loop,) = ground_loops(circuit(part("JP1", "GNDA GNDD"), part("FB1", "GNDA GNDD")))
    assert loop.ohms == Unknown(("the position of JP1 is not given",), low=0.0)


def test_of_a_choke_with_two_windings_it_is_not_known_which_pins_are_joined() -> None:
    whole = circuit(part("L1", "+15V +12V GND GNDA"), part("R1", "GND GNDA", 10.0))
    (loop,) = ground_loops(whole)
    assert loop.ohms == Unknown(("which pins of L1 are joined inside is not known",), low=10.0)


def test_a_jumper_that_is_drawn_closed_is_a_link() -> None:
    closed = part("JP1", "GNDA GNDD", library_part="SolderJumper_2_Bridged")
    (loop,) = ground_loops(circuit(closed, part("FB1", "GNDA GNDD")))
    assert loop.ohms == 0
    assert not ground_islands(circuit(ENTRY, *BYPASS, AMPLIFIER, part("JP1", "GND GNDA", text="closed")))


def test_a_part_that_is_not_fitted_conducts_nothing() -> None:
    assert not ground_loops(circuit(part("R1", "GNDA GNDD", 0.0), part("R2", "GNDA GNDD", 0.0, fitted=False)))


def test_a_chain_over_the_sleeve_of_a_socket_is_a_ring() -> None:
    sleeve = part("J1", "tip:IN sleeve:SLEEVE", family="jack")
    whole = circuit(sleeve, part("R1", "SLEEVE GND", 10.0), part("NT1", "SLEEVE CHASSIS"), part("NT2", "CHASSIS GND"))
    (loop,) = ground_loops(whole)
    assert loop.through_case and loop.ohms == 10
    assert set(loop.grounds) == {"amp/net/GND", "amp/net/CHASSIS"}


def test_resistors_from_a_signal_to_one_ground_are_no_ring() -> None:
    assert not ground_loops(circuit(part("R1", "IN GND", 1e5), part("R2", "IN GND", 1e5), part("C1", "IN OUT")))


def test_a_tie_of_three_grounds_with_a_link_beside_it() -> None:
    whole = circuit(part("NT1", "GND GNDA GNDD"), part("R1", "GNDA GNDD", 0.0))
    assert [set(ring) for ring in refs(whole)] == [{"NT1", "R1"}]


def assembly() -> tuple[Circuit, tuple[Conductor, ...]]:
    whole = join(
        (
            board(part("J1", "GND GNDA"), part("NT1", "GND GNDA"), name="amp"),
            board(part("J2", "GND GNDA"), part("NT2", "GND GNDA"), name="supply"),
        )
    )
    wires = (
        Conductor("lead/1", "wire", ("supply/net/GND", "amp/net/GND"), 0.01, "lead"),
        Conductor("lead/2", "wire", ("amp/net/GND", "supply/net/GND"), 0.01, "lead"),
        Conductor("lead/3", "wire", ("amp/net/GNDA", "supply/net/GNDA"), 0.01, "lead"),
        Conductor("bond amp", "case", ("amp/net/GND", "case"), 0.0),
        Conductor("bond supply", "case", ("supply/net/GND", "case"), 0.0),
    )
    return whole, wires


def test_wires_of_one_cable_between_the_same_grounds_are_a_bundle() -> None:
    whole, wires = assembly()
    assert not ground_loops(join(whole.boards), wires[:2])
    bundle = next(c for c in conductors(whole, wires) if c.members)
    assert bundle.ohms == pytest.approx(0.005)
    assert bundle.members == ("lead/1", "lead/2")


def test_a_ring_inside_one_cable_and_a_ring_over_the_case() -> None:
    whole, wires = assembly()
    inside, over = sorted(ground_loops(whole, wires, references=["lead/3"]), key=lambda loop: loop.through_case)
    assert (inside.inside_one_cable, inside.through_case, inside.cables) == (True, False, ("lead",))
    assert (over.inside_one_cable, over.through_case, over.cables) == (False, True, ("lead",))
    assert inside.carries_signal_reference is True and over.carries_signal_reference is False
    assert all(isinstance(loop.carries_signal_reference, Unknown) for loop in ground_loops(whole, wires))


def test_a_signal_wire_is_no_conductor_of_ground() -> None:
    whole, _ = assembly()
    signal = circuit(part("U1", "OUT GND"))
    assert not conductors(signal, [Conductor("w", "wire", ("amp/net/OUT", "amp/net/GND"), 0.0)])
    assert len(whole.boards) == 2


def test_forty_orders_of_listing_give_the_same_rings() -> None:
    grounds = ["GND", "GNDA", "GNDB", "GNDC", "GNDD", "CHASSIS"]
    parts, number = [], 0
    for at, near in enumerate(grounds):
        for far in grounds[at + 1 :]:
            number += 1
            parts.append(part(f"R{number}", f"{near} {far}", 0.0 if number % 3 else 10.0))
    parts += [part("R90", "GND GNDA", 0.0), part("NT1", "GND GNDA GNDB")]
    whole = circuit(*parts)
    first = ground_loops(whole)
    # 15 + 1 conductors of two ends and a tie of three: 17 nodes more, 35 edges; 35 - (6 + 17) + 1
    assert len(first) == 13
    for seed in range(40):
        assert ground_loops(shuffled(whole, seed)) == first


def test_parts_elsewhere_do_not_touch_a_ring() -> None:
    ring = (part("R1", "GNDA GNDD", 0.0), part("R2", "GNDA GNDD", 0.0))
    more = (part("R3", "IN OUT", 1e3), part("R0", "GNDX GNDY", 0.0), part("NT1", "GNDX GNDY"), part("R9", "GNDD GNDX"))
    assert ground_loops(circuit(*ring))[0] in ground_loops(circuit(*ring, *more))


def test_ties_list_all_that_joins_two_grounds() -> None:
    whole = circuit(part("R1", "GND GNDA", 0.0), part("R2", "GNDA GND", 0.0), part("FB1", "GND CHASSIS"))
    assert [(t.grounds, len(t.conductors)) for t in ties(whole)] == [
        (("amp/net/CHASSIS", "amp/net/GND"), 1),
        (("amp/net/GND", "amp/net/GNDA"), 2),
    ]


ENTRY = part("J1", "+15V GND -15V", family="header")
BYPASS = tuple(part(f"C{n}", "+15V GND") for n in range(1, 6))
AMPLIFIER = part("U1", "output:O minus:O plus:I supply_minus:GNDA supply_plus:+15V")


def test_an_amplifier_whose_return_leads_nowhere() -> None:
    (island,) = ground_islands(circuit(ENTRY, *BYPASS, AMPLIFIER))
    assert (island.key, island.supplies, island.doubts) == ("amp/net/GNDA", ("amp/U1",), ())


@pytest.mark.parametrize(
    "joined",
    [
        part("NT1", "GND GNDA"),
        part("R1", "GND GNDA", 10.0),
        part("FB1", "GND GNDA"),
        part("J2", "GNDA IN", family="header"),
        part("T1", "winding:A winding:GNDA"),
    ],
)
def test_a_tie_a_connector_or_a_source_of_its_own_joins_it(joined: Part) -> None:
    assert not ground_islands(circuit(ENTRY, *BYPASS, AMPLIFIER, joined))


def test_the_ground_where_energy_comes_in_is_the_main_one_however_few_its_pins() -> None:
    """A supply on GND with one pin or two; everything else stands on GNDA."""
    bypass = tuple(part(f"C{n}", "+15V GNDA") for n in range(1, 6))
    (island,) = ground_islands(circuit(part("J1", "+15V GND", family="header"), *bypass, AMPLIFIER))
    assert (island.key, island.supplies) == ("amp/net/GNDA", ("amp/U1",))


def test_a_transistor_in_the_return_leaves_it_open() -> None:
    """As in the minus lead of a battery with its protection."""
    switch = part("Q1", "gate:G drain:GNDA source:GND")
    (island,) = ground_islands(circuit(ENTRY, *BYPASS, AMPLIFIER, switch))
    assert island.doubts == ("whether Q1 joins it to another ground is not known",)


def test_a_capacitor_is_no_tie() -> None:
    assert len(ground_islands(circuit(ENTRY, *BYPASS, AMPLIFIER, part("C9", "GND GNDA")))) == 1


@pytest.mark.parametrize(
    ("perhaps", "doubt"),
    [
        (part("JP1", "GND GNDA"), "the position of JP1 is not given"),
        (part("H1", "GNDA"), "what H1 touches is not given"),
        (part("TP1", "GNDA"), "what TP1 touches is not given"),
        (part("X1", "GNDA FOO"), "what X1 is, is not known"),
    ],
)
def test_what_may_join_it_is_a_doubt(perhaps: Part, doubt: str) -> None:
    (island,) = ground_islands(circuit(ENTRY, *BYPASS, AMPLIFIER, perhaps))
    assert island.doubts == (doubt,)


def test_lamps_and_references_of_a_signal_need_their_way_back_too() -> None:
    led = (part("R1", "+15V A", 1e3), part("D1", "anode:A cathode:GNDA", kind="led"))
    assert ground_islands(circuit(ENTRY, *BYPASS, *led))[0].supplies == ("amp/D1",)
    bias = (part("R1", "P GNDA", 1e5), part("U2", "output:O minus:O plus:P supply_minus:GND supply_plus:+15V"))
    assert ground_islands(circuit(ENTRY, *BYPASS, *bias))[0].supplies == ("amp/R1",)


def test_a_circuit_of_its_own_behind_capacitors_is_left_alone() -> None:
    own = (part("R1", "S GNDA", 1e5), part("C8", "S IN"), part("J2", "IN GND"), part("C9", "GND GNDA"))
    assert not ground_islands(circuit(ENTRY, *BYPASS, *own))


def test_a_part_between_two_grounds_and_an_isolating_one() -> None:
    mixed = part("U2", "ground:GND ground:GNDA output:O", kind="integrated circuit")
    apart = part("U3", "anode:A ground:GND ground:GNDA", kind="optocoupler")
    assert ground_islands(circuit(ENTRY, *BYPASS, mixed))[0].supplies == ("amp/U2",)
    assert not ground_islands(circuit(ENTRY, *BYPASS, apart))


def test_a_rail_is_followed_through_its_regulator() -> None:
    regulator = part("U5", "input:+15V ground:GND output:+5V", kind="regulator")
    fed = part("U1", "supply_minus:GNDA supply_plus:+5V")
    assert ground_islands(circuit(ENTRY, *BYPASS, regulator, fed))[0].supplies == ("amp/U1",)


def test_two_grounds_that_are_joined_to_each_other_only_are_one_island() -> None:
    joined = part("R1", "GNDA GNDS", text="TBD")
    (island,) = ground_islands(circuit(ENTRY, *BYPASS, AMPLIFIER, joined, part("C9", "GNDS +15V")))
    assert island.grounds == ("amp/net/GNDA", "amp/net/GNDS")
    to_ground = part("R2", "GNDS GND", 10.0)
    assert not ground_islands(circuit(ENTRY, *BYPASS, AMPLIFIER, joined, to_ground))


def test_islands_do_not_depend_on_the_order() -> None:
    whole = circuit(ENTRY, *BYPASS, AMPLIFIER, part("JP1", "GND GNDA"))
    for seed in range(5):
        assert ground_islands(shuffled(whole, seed)) == ground_islands(whole)
