"""What can be got to from a net, by which parts, and how many ohms lie between."""

from __future__ import annotations

import math
import random

import networkx as nx
import pytest
from typed_circuits import circuit

from netcheck.circuit.graph import graph_of
from netcheck.circuit.model import Board, Circuit, join
from netcheck.circuit.walk import Walks
from netcheck.language.values import Unknown

DC = frozenset({"resistor", "potentiometer", "inductor", "ferrite", "fuse", "link", "jumper", "switch"})


def net(name: str) -> str:
    return f"b/net/{name}"


def names(things: object) -> list[str]:
    return [getattr(thing, "ref", None) or thing.name for thing in things]  # type: ignore[attr-defined]


def walks(text: str, **told: object) -> Walks:
    return Walks(circuit(text), **told)  # type: ignore[arg-type]


def shuffled(made: Circuit, seed: int) -> Circuit:
    """The same circuit with parts, nets and pins listed in another order."""
    order = random.Random(seed)
    boards = []
    for one in made.boards:
        parts = order.sample(one.parts, len(one.parts))
        nets = order.sample(one.nets, len(one.nets))
        boards.append(
            Board(
                one.name,
                one.netlist,
                tuple(parts),
                tuple(nets),
                tuple(order.sample(one.amplifiers, len(one.amplifiers))),
            )
        )
    return join(tuple(boards))


def test_reach_goes_through_the_named_kinds_and_stops_at_rails() -> None:
    found = walks(
        """
        R1 10k IN A
        R2 10k A GND
        R3 10k GND FAR
        C1 100n A OUT
        R4 1k A B
        """
    ).reach(net("IN"), DC)
    assert names(found.nets) == ["A", "B", "GND", "IN"]
    assert names(found.parts) == ["R1", "R2", "R4"]
    assert not found.perhaps and not found.skipped


def test_the_net_begun_with_is_left_even_if_it_is_a_rail() -> None:
    found = walks("R1 10R +15V VP\nR2 1k VP -15V\nR3 1k -15V X").reach(net("+15V"), DC)
    assert names(found.nets) == ["+15V", "-15V", "VP"]


def test_reach_around_parts() -> None:
    ring = walks("F1 fuse 1A L A\nR1 1k L B\nR2 1k B A")
    assert names(ring.reach(net("L"), frozenset({"fuse", "resistor"}), frozenset({"b/R1"})).nets) == ["A", "B", "L"]
    cut = ring.reach(net("L"), frozenset({"fuse", "resistor"}), frozenset({"b/R1", "b/F1"}))
    assert names(cut.nets) == ["L"]


def test_a_switch_makes_the_rest_unsure() -> None:
    found = walks("R1 1k IN A\nSW1 switch A B\nR2 1k B C\nR3 1k IN D").reach(net("IN"), DC)
    assert names(found.nets) == ["A", "D", "IN"]
    assert [(one.name, reasons) for one, reasons in found.perhaps] == [
        ("B", ("the position of SW1 is not given",)),
        ("C", ("the position of SW1 is not given",)),
    ]


def test_what_is_reached_surely_is_not_unsure_too() -> None:
    found = walks("SW1 switch IN B\nR2 1k IN B").reach(net("IN"), DC)
    assert names(found.nets) == ["B", "IN"] and not found.perhaps


def test_two_switches_give_two_reasons() -> None:
    found = walks("SW1 switch IN A\nJP1 jumper A B").reach(net("IN"), DC)
    assert found.perhaps[1][1] == ("the position of SW1 is not given", "the position of JP1 is not given")


@pytest.mark.parametrize(
    ("library", "sure", "perhaps"),
    [
        ("SolderJumper_2_Bridged", ["A", "IN"], []),
        ("SolderJumper_2_Open", ["IN"], ["A"]),
        ("Jumper", ["IN"], ["A"]),
    ],
)
def test_a_jumper_that_is_drawn_closed_conducts(library: str, sure: list[str], perhaps: list[str]) -> None:
    found = walks(f"JP1 jumper 1=IN 2=A ; library {library}").reach(net("IN"), DC)
    assert names(found.nets) == sure
    assert names(one for one, _ in found.perhaps) == perhaps


def test_a_jumper_of_three_drawn_closed_on_one_side() -> None:
    found = walks("JP1 jumper 1=IN 2=A 3=B ; library SolderJumper_3_Bridged12").reach(net("IN"), DC)
    assert names(found.nets) == ["A", "IN"]
    assert names(one for one, _ in found.perhaps) == ["B"]


def test_an_assembly_tells_positions() -> None:
    text = "SW1 switch IN A\nJP1 jumper IN B"
    found = walks(text, positions={"b/SW1": "closed", "b/JP1": "open"}).reach(net("IN"), DC)
    assert names(found.nets) == ["A", "IN"] and not found.perhaps


def test_potentiometers_conduct_among_their_pins_and_gangs_do_not() -> None:
    one = walks("RV1 potentiometer 10k 1=IN 2=W 3=GND").reach(net("W"), DC)
    assert names(one.nets) == ["GND", "IN", "W"]
    text = "RV1 potentiometer 10k end1=A wiper1=B end2=C end3=D wiper2=E end4=F"
    assert names(walks(text).reach(net("A"), DC).nets) == ["A", "B", "C"]
    unknown = walks("RV1 potentiometer 10k end1=A end2=B end3=C end4=D wiper1=E wiper2=F").reach(net("A"), DC)
    assert names(unknown.nets) == ["A"] and len(unknown.perhaps) == 5


def test_transistors_conduct_where_their_kind_is_named_but_an_insulated_gate_does_not() -> None:
    bipolar = walks("Q1 npn c=C b=B e=E").reach(net("B"), frozenset({"npn"}))
    assert names(bipolar.nets) == ["B", "C", "E"]
    fet = walks("Q1 nmos d=D g=G s=S")
    assert names(fet.reach(net("G"), frozenset({"nmos"})).nets) == ["G"]
    assert names(fet.reach(net("D"), frozenset({"nmos"})).nets) == ["D", "S"]


def test_relay_coils_and_contacts() -> None:
    found = walks("K1 relay coil1=A coil2=B contact1=A contact2=C").reach(net("A"), frozenset({"relay"}))
    assert names(found.nets) == ["A", "B"]
    assert names(one for one, _ in found.perhaps) == ["C"]


def test_connectors_conduct_nothing() -> None:
    assert names(walks("J1 header 1=A 2=B").reach(net("A"), frozenset({"connector"})).nets) == ["A"]


def test_parts_that_are_not_fitted_are_skipped_and_told() -> None:
    made = walks("R1 not fitted 1k IN A\nR2 1k IN B\nR3 not fitted 1k IN B\nR4 not fitted 1k IN IN")
    found = made.reach(net("IN"), DC)
    assert names(found.nets) == ["B", "IN"]
    assert names(found.skipped) == ["R1"]
    assert made.parts_on(net("A")) == ()
    assert names(made.unfitted_on(net("A"))) == ["R1"]
    assert names(made.unfitted_between(net("IN"), net("B"))) == ["R3"]


def test_path_is_shortest_then_in_natural_order() -> None:
    made = walks("R10 1k A B\nR2 1k A B\nR3 1k B C\nR4 1k A X\nR5 1k X Y\nR6 1k Y C")
    assert names(made.path(net("A"), net("C"), DC) or ()) == ["R2", "R3"]
    assert made.path(net("A"), net("A"), DC) == ()
    assert made.path(net("A"), net("C"), frozenset({"diode"})) is None


def test_path_does_not_pass_a_rail_and_is_unknown_behind_a_switch() -> None:
    assert walks("R1 1k A GND\nR2 1k GND B").path(net("A"), net("B"), DC) is None
    behind = walks("R1 1k A X\nSW1 switch X B").path(net("A"), net("B"), DC)
    assert behind == Unknown(("the position of SW1 is not given",))
    both = walks("SW1 switch A B\nR1 1k A X\nR2 1k X B").path(net("A"), net("B"), DC)
    assert names(both or ()) == ["R1", "R2"]


def test_path_has_the_length_of_a_shortest_path_in_the_graph() -> None:
    order = random.Random(7)
    for _ in range(20):
        lines = [f"R{at} 1k N{order.randrange(12)} N{order.randrange(12)}" for at in range(1, 20)]
        made = walks("\n".join(lines))
        graph = graph_of(made.circuit)
        for b in range(1, 12):
            ends = net("N0"), net(f"N{b}")
            if not all(end in graph for end in ends):
                continue
            found = made.path(*ends, frozenset({"resistor"}))
            if not nx.has_path(graph, *ends):
                assert found is None
            else:
                assert isinstance(found, tuple)
                assert len(found) == nx.shortest_path_length(graph, *ends) // 2
            reached = {one.key for one in made.reach(ends[0], frozenset({"resistor"})).nets}
            assert reached == {key for key in nx.node_connected_component(graph, ends[0]) if "/net/" in key}


@pytest.mark.parametrize(
    ("text", "ohms"),
    [
        ("R1 1k A B", 1000.0),
        ("R1 1k A B\nR2 1k B A", 500.0),
        ("R1 1k A X\nR2 2k X B", 3000.0),
        ("R1 1k A X\nR2 2k X Y\nR3 3k Y B\nR4 6k A B", 3000.0),
        ("R1 1k A X\nR2 2k X B\nC1 100n X GND", math.inf),
        ("R1 1k A X\nR2 2k X B\nC1 not fitted 100n X GND", 3000.0),
        ("R1 1k A X\nR2 2k X B\nR3 1k X Y", math.inf),
        ("R1 1k A GND\nR2 1k GND B", math.inf),
        ("NT1 link A B\nR1 1k A B", 0.0),
        ("NT1 link A B\nR1 TBD A B", 0.0),
        ("C1 100n A B", math.inf),
        ("R1 not fitted 1k A B\nR2 2k A B", 2000.0),
        ("RV1 potentiometer 10k 1=A 2=W 3=B", 10_000.0),
        ("JP1 jumper A B ; library Jumper_2_Bridged\nR1 1k A B", 0.0),
        ("R1 1k A A\nR2 1k A X\nR3 1k X X\nR4 1k B B", math.inf),
        ("R1 0R22 A B", 0.22),
    ],
)
def test_resistance_that_is_known(text: str, ohms: float) -> None:
    found = walks(text + "\nR98 1k A Z\nR99 1k B Z\nC99 1n Z GND").resistance(net("A"), net("B"))
    assert found == pytest.approx(ohms)


@pytest.mark.parametrize(
    ("text", "reason", "low", "high"),
    [
        ("R12 TBD A B", "R12 has the value 'TBD'", 0.0, None),
        ("R12 TBD A B\nR1 10R A B", "R12 has the value 'TBD'", 0.0, 10.0),
        ("R12 TBD A X\nR1 10R X B", "R12 has the value 'TBD'", 10.0, None),
        ("JP1 jumper A B\nR1 10R A B", "the position of JP1 is not given", 0.0, 10.0),
        ("SW1 switch A B", "the position of SW1 is not given", 0.0, None),
        ("RV1 potentiometer 10k 1=A 2=B 3=B", "the setting of RV1 is not given", 0.0, 10_000.0),
        ("RV1 potentiometer 10k 1=A 2=X 3=X\nR1 1k X B", "the setting of RV1 is not given", 1000.0, 11_000.0),
        ("L1 10u A B\nR1 10R A B", "the resistance of L1 is not given", 0.0, 10.0),
        ("TH1 thermistor 10k A B", "the resistance of TH1 is not constant", 0.0, None),
    ],
)
def test_resistance_that_is_in_doubt_has_bounds(text: str, reason: str, low: float, high: float | None) -> None:
    made = walks(text)
    for ends in ((net("A"), net("B")), (net("B"), net("A"))):
        assert made.resistance(*ends) == Unknown((reason,), low, high)


def test_a_divider_is_no_chain() -> None:
    made = walks("RV1 potentiometer 10k 1=A 2=W 3=GND\nR1 1k W B")
    assert made.resistance(net("A"), net("B")) == math.inf


def test_resistance_of_a_net_to_itself() -> None:
    assert walks("R1 1k A A").resistance(net("A"), net("A")) == 0


def test_resistors_are_the_evidence() -> None:
    made = walks("R10 1k A B\nR2 1k A X\nR3 1k X B")
    assert names(made.resistors(net("A"), net("B"))) == ["R2", "R3", "R10"]


def test_parts_between_and_on() -> None:
    made = walks("C2 100n A GND\nC1 10n GND A\nR1 1k A GND\nC3 1n A B\nC4 not fitted 1u A GND")
    assert names(made.capacitors(net("A"), net("GND"))) == ["C1", "C2"]
    assert names(made.parts_between(net("A"), net("GND"))) == ["C1", "C2", "R1"]
    assert names(made.parts_on(net("A"), frozenset({"resistor"}))) == ["R1"]
    assert names(made.unfitted_between(net("A"), net("GND"), frozenset({"capacitor"}))) == ["C4"]


def test_a_net_leaves_the_board_by_connectors_that_are_not_mated() -> None:
    text = "J1 header 1=A 2=GND\nJ2 header 1=A\nTP1 test point 1=A\nR1 1k B A"
    made = walks(text)
    assert [pin.key for pin in made.leaves_board(net("A"))] == ["b/J1.1", "b/J2.1"]
    assert made.leaves_board(net("B")) == ()
    assert [pin.key for pin in walks(text, mated=frozenset({"b/J1.1"})).leaves_board(net("A"))] == ["b/J2.1"]


def test_cables_join_nets_of_boards() -> None:
    joined = circuit("J1 header 1=OUT 2=GND\nR1 1k IN OUT", "J1 header 1=IN 2=GND\nR1 2k IN FAR")
    made = Walks(joined, wires={"b/net/OUT": ["b2/net/IN"], "b/net/GND": ["b2/net/GND"]})
    reached = {one.key for one in made.reach("b/net/IN", DC).nets}
    assert reached == {"b/net/IN", "b/net/OUT", "b2/net/IN", "b2/net/FAR"}
    assert made.resistance("b/net/OUT", "b2/net/IN") == 0
    assert made.resistance("b/net/IN", "b2/net/IN") == 1000
    assert made.resistance("b/net/IN", "b2/net/FAR") == math.inf
    assert [part.key for part in made.path("b/net/IN", "b2/net/FAR", DC) or ()] == ["b/R1", "b2/R1"]
    unsure = circuit("SW1 switch IN OUT", "R1 1k A B")
    assert Walks(unsure).reach("b/net/IN", DC).perhaps[0][1] == ("the position of b.SW1 is not given",)


def test_the_order_of_listing_does_not_matter() -> None:
    order = random.Random(3)
    lines = [
        f"R{at} {order.choice(['1k', 'TBD', '2k'])} N{order.randrange(9)} N{order.randrange(9)}" for at in range(1, 25)
    ]
    lines += [f"SW{at} switch N{order.randrange(9)} M{order.randrange(4)}" for at in range(1, 7)]
    made = circuit("\n".join(lines))
    first = Walks(made)
    for seed in range(5):
        other = Walks(shuffled(made, seed))
        for a in first.circuit.nets:
            one, two = first.reach(a, DC), other.reach(a, DC)
            assert one == two
            for b in list(first.circuit.nets)[:5]:
                assert first.path(a, b, DC) == other.path(a, b, DC)
                mine, theirs = first.resistance(a, b), other.resistance(a, b)
                assert mine == theirs or mine == pytest.approx(theirs)
