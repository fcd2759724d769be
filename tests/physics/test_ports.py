"""Which ways signals take: from which connector to which, through what, and where there is none."""

from __future__ import annotations

import pytest
from test_judge import facts_of

from netcheck.physics.coupling import couplings
from netcheck.physics.ports import SignalPath, Ways, signal_paths

FEEDS = "C91 100n +15V GND\nC92 100n -15V GND\nJ9 header keyed 1=+15V 2=GND 3=-15V\n"
BUFFER = FEEDS + "U1 NE5532 1=O 2=O 3=P 4=-15V 5=GND 6=X 7=X 8=+15V\nR1 100k P GND\n"


def paths(text: str, book) -> list[tuple[str, str]]:
    found = signal_paths(facts_of(text, book).at_rest.points)
    return [(path.input.pin, path.output.pin) for path in found]


def first(text: str, book) -> SignalPath:
    return signal_paths(facts_of(text, book).at_rest.points)[0]


def test_supplies_and_grounds_are_no_ports(book) -> None:
    text = BUFFER + "J1 jack T=P S=GND\nJ2 jack T=O S=GND\n"
    assert paths(text, book) == [("amp/J1.t", "amp/J2.t")] or paths(text, book) == [("amp/J1.T", "amp/J2.T")]


def test_a_rail_of_unknown_volts_is_no_port_either(book) -> None:
    text = "U1 NE5532 1=O 2=O 3=P 4=VEE 5=GND 6=X 7=X 8=VCC\nR1 100k P GND\nJ1 jack T=P S=GND\nJ2 jack T=O S=GND\n"
    found = paths(text + "J9 header 1=VCC 2=GND 3=VEE\n", book)
    assert [first.split("/")[1][:2] for first, _ in found] == ["J1"]


def test_what_is_only_passive_is_no_path(book) -> None:
    assert paths("R1 1k IN OUT\nC1 10n OUT GND\nJ1 jack T=IN S=GND\nJ2 jack T=OUT S=GND\n", book) == []


def test_inputs_of_a_mixer_do_not_lead_to_each_other(book) -> None:
    text = FEEDS + (
        "U1 NE5532 1=O 2=M 3=GND 4=-15V 5=GND 6=X 7=X 8=+15V\nR1 10k A M\nR2 10k B M\nR3 10k M O\n"
        "J1 jack T=A S=GND\nJ2 jack T=B S=GND\nJ3 jack T=O S=GND\n"
    )
    found = paths(text, book)
    assert [(a.split(".")[0], b.split(".")[0]) for a, b in found] == [("amp/J1", "amp/J3"), ("amp/J2", "amp/J3")]


def test_a_pair_of_transistors_in_the_loop_leads_on_to_the_socket(book) -> None:
    text = FEEDS + (
        "U1 NE5532 1=D 2=OUT 3=P 4=-15V 5=GND 6=X 7=X 8=+15V\nR1 100k P GND\nQ1 BD139 c=+15V b=D e=E1\n"
        "Q2 BD140 c=-15V b=D e=E2\nR2 4R7 E1 OUT\nR3 4R7 E2 OUT\nJ1 jack T=P S=GND\nJ2 jack T=OUT S=GND\n"
    )
    assert len(paths(text, book)) == 1


def test_what_an_amplifier_drives_is_no_input(book) -> None:
    """Two outputs that hear each other, as those of a cross-coupled driver do, are no input to each other."""
    text = BUFFER.replace("5=GND 6=X 7=X", "5=S 6=N 7=W") + (
        "R2 10k O N\nR3 10k N W\nR4 10k W S\nR5 10k S GND\nR6 47R O HOT\nR7 47R W COLD\nC1 22u HOT TIP\n"
        "J1 jack T=P S=GND\nJ2 jack T=TIP R=COLD S=GND\n"
    )
    assert {first.split(".")[0] for first, _ in paths(text, book)} == {"amp/J1"}


def test_an_input_of_a_filter_is_one_though_its_capacitors_lead_to_the_output(book) -> None:
    text = BUFFER.replace("R1 100k P GND", "R1 10k IN F\nR2 10k F P\nC1 10n F O\nC2 4n7 P GND")
    assert len(paths(text + "J1 jack T=IN S=GND\nJ2 jack T=O S=GND\n", book)) == 1


def test_the_poles_of_a_relay_are_kept_apart(book) -> None:
    """Two channels through one relay: the way of the left one does not lead through the other pole."""
    text = BUFFER.replace("5=GND 6=X 7=X", "5=Q 6=W 7=W") + (
        "R2 100k Q GND\nK1 relay coil1=+15V 2=N1 3=L 4=O 5=W 6=R 7=N2 coil2=C2\nR3 1M L GND\nR4 1M R GND\n"
        "J1 jack T=P R=Q S=GND\nJ2 jack T=L R=R S=GND\n"
    )
    found = signal_paths(facts_of(text, book).at_rest.points)
    assert [len(path.joined) for path in found] == [1, 1]
    assert {frozenset(path.joined) for path in found} == {
        frozenset({"contact amp/net/L amp/net/O"}),
        frozenset({"contact amp/net/R amp/net/W"}),
    }


@pytest.mark.parametrize(
    ("between", "expected"),
    [
        ("C1 1u IN P", [("amp/C1",)]),
        ("C1 1u IN P\nC2 100n IN P", [("amp/C1", "amp/C2")]),
        ("C1 1u IN P\nR5 1M IN P", []),
        ("C1 1u IN Y\nC2 1u Y P\nR5 100k Y GND", [("amp/C1",), ("amp/C2",)]),
        ("R5 1k IN P\nC1 100p P GND", []),
        ("C1 1u IN Y\nR5 1k Y P\nC2 1u IN Z\nR6 1k Z P", []),
    ],
    ids=["one", "in parallel", "beside a resistor", "two", "to ground", "two ways round"],
)
def test_which_capacitors_a_signal_must_pass(between: str, expected: list[tuple[str, ...]], book) -> None:
    facts = facts_of(BUFFER + f"{between}\nJ1 jack T=IN S=GND\nJ2 jack T=O S=GND\n", book)
    points = facts.at_rest.points
    found = couplings(Ways(points), signal_paths(points))
    assert [coupling.capacitors for coupling in found] == expected


def test_a_feedback_capacitor_is_not_passed(book) -> None:
    text = (
        BUFFER.replace("2=O", "2=M") + "R2 10k M O\nC1 100p M O\nR3 10k M GND\nJ1 jack T=P S=GND\nJ2 jack T=O S=GND\n"
    )
    points = facts_of(text, book).at_rest.points
    assert couplings(Ways(points), signal_paths(points)) == ()
