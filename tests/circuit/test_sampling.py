"""Samples become netlists; what is wrong with a line is told with its number."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.circuit.sampling import MOST_LETTERS, WORDS, read_sample
from netcheck.ground.problems import Refused
from netcheck.intake.netlist import Netlist


def nets_of(netlist: Netlist) -> dict[str, list[str]]:
    return {net.name: [f"{node.reference}.{node.pin}" for node in net.nodes] for net in netlist.nets}


def refusal(text: str) -> list[str]:
    with pytest.raises(Refused) as caught:
        read_sample(text, "rule.yaml", 30)
    return [str(problem) for problem in caught.value.problems]


def test_two_ended_parts_have_a_value_and_two_nets() -> None:
    netlist, _ = read_sample("R1 1R E1 OUT\nR2 TBD OUT GND  # not readable", "rule.yaml", 30)
    assert nets_of(netlist) == {"E1": ["R1.1"], "OUT": ["R1.2", "R2.1"], "GND": ["R2.2"]}
    assert [(part.reference, part.value, part.line) for part in netlist.components] == [
        ("R1", "1R", 30),
        ("R2", "TBD", 31),
    ]


def test_letters_of_pins_are_numbers_with_a_role() -> None:
    netlist, hints = read_sample("Q1 npn c=+15V b=B1 e=E1\nJ1 jack T=TIP S=GND\nQ2 nmos d=A g=B s=C", "rule.yaml", 1)
    assert nets_of(netlist)["+15V"] == ["Q1.C"]
    assert hints.pin_roles["Q1", "E"] == "emitter"
    assert hints.pin_roles["J1", "S"] == "sleeve"
    assert hints.pin_roles["Q2", "S"] == "source"
    assert dict(netlist.components[0].fields) == {"Kind": "npn"}
    assert dict(hints.families) == {"J1": "jack"}


def test_words_before_the_pins_in_any_order() -> None:
    text = """
        J1 header 1=A 2=B
        J2 connector keyed 1=A 2=B
        J3 keyed header 1=A 2=B
        J4 connector 1=A 2=B
        C1 polarised 100u plus=A minus=B
        C2 polarised 4u7 A B
        R9 not fitted 10k A B
        J5 screw terminal 1=A 2=B
        TP1 test point 1=A
    """
    netlist, hints = read_sample(text, "rule.yaml", 1)
    assert dict(hints.keyed) == {"J1": False, "J2": True, "J3": True}
    assert dict(hints.polarised) == {"C1": True, "C2": True}
    assert hints.pin_roles["C1", "PLUS"] == hints.pin_roles["C2", "1"] == "plus"
    assert hints.families["J5"] == "screw terminal"
    flags = {part.reference: part.flags for part in netlist.components}
    assert flags["R9"] == {"not fitted"} and not flags["J1"]
    kinds = {part.reference: dict(part.fields).get("Kind") for part in netlist.components}
    assert kinds["J5"] == "connector" and kinds["TP1"] == "test point" and kinds["C1"] is None


def test_tails_say_what_a_designer_writes_into_the_part() -> None:
    line = 'C1 100n A B ; rating 25V ; dielectric X7R ; footprint C_0805 ; field Price=0.02 ; description "a; b"'
    netlist, _ = read_sample(line, "rule.yaml", 1)
    part = netlist.components[0]
    assert (part.value, part.footprint, part.fields) == ("100n 25V X7R", "C_0805", (("Price", "0.02"),))
    assert part.description == "a; b"


def test_a_net_is_told_its_role() -> None:
    text = "R1 1k VP X\nR2 1k VM N\nnet VP rail +15 V\nnet VM rail -15\nnet X ground\nnet N mains"
    _, hints = read_sample(text, "rule.yaml", 1)
    assert hints.net_roles == {
        "VP": ("rail", 15.0),
        "VM": ("rail", -15.0),
        "X": ("ground", None),
        "N": ("mains", None),
    }


def test_first_net_of_a_diode_is_its_anode() -> None:
    _, hints = read_sample("D1 1N4148 A B\nD2 led C D", "rule.yaml", 1)
    assert hints.pin_roles == {
        ("D1", "A"): "anode",
        ("D1", "K"): "cathode",
        ("D2", "A"): "anode",
        ("D2", "K"): "cathode",
    }


def test_open_pins_and_pins_on_no_net() -> None:
    netlist, _ = read_sample("U1 NE5532 1=O 2=O 3=IN 5=open 6=~", "rule.yaml", 1)
    lone = next(net for net in netlist.nets if net.name == "unconnected-(U1-Pad5)")
    assert lone.nodes[0].flagged_open
    assert [pin.number for pin in netlist.components[0].library_pins] == ["1", "2", "3", "5", "6"]
    assert not any(node.pin == "6" for net in netlist.nets for node in net.nodes)


def test_a_pin_on_two_nets_is_kept_as_odd() -> None:
    netlist, _ = read_sample("J1 header 1=A 1=B 2=A 2=A", "rule.yaml", 1)
    codes = {net.name: net.code for net in netlist.nets}
    assert [(odd.what, odd.pin) for odd in netlist.oddities] == [("pin on two nets", "1"), ("pin listed twice", "2")]
    assert netlist.oddities[0].nets == (codes["A"], codes["B"])
    assert nets_of(netlist) == {"A": ["J1.1", "J1.2"], "B": ["J1.1"]}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("R1 10k A", "rule.yaml:30: R1 needs a value and two nets"),
        ("R1 A B", "R1 needs a value and two nets"),
        ("C1 polarized 100u A B", "did you mean 'polarised'"),
        ("Q1 npnn c=A b=B e=C", "did you mean 'npn'"),
        ("Q1 npn x=A", "'x' is no pin number"),
        ("U1 opamp outt=A", "did you mean 'out'"),
        ("R1 1k A B\nR1 1k A B", "rule.yaml:31: R1 stands here again; it is in line 30"),
        ("net VP rial +15", "did you mean 'rail'"),
        ("R1 1k A B\nnet C rail +15", "no part is on the net 'C'"),
        ("R1 1k A B\nnet A rail 15 ohm", "is no voltage"),
        ("R1 1k A B\nnet A rail 4k7", "4k7"),
        ("R1 1k A B ; ratting 25V", "did you mean 'rating'"),
        ('R1 "1k A B', "never closed"),
        ("hello", "a reference such as R1"),
        ("", "the sample has no part"),
        ("x" * (MOST_LETTERS + 1), "longer than"),
        ("J1 header 1= 2=B", "PIN=NET is expected"),
        ("Q1 npn c=A B e=C", "'B' stands among the pins"),
    ],
)
def test_refusals_name_line_and_cure(text: str, says: str) -> None:
    assert any(says in problem for problem in refusal(text)), refusal(text)


def test_all_mistakes_at_once() -> None:
    assert len(refusal("R1 10k A\nQ1 npn x=A\nnet A foo")) == 3


def test_a_word_can_be_a_value_in_quotes() -> None:
    netlist, _ = read_sample('F1 "Fuse" A B\nRV1 "10k log" 1=A 2=W 3=B', "rule.yaml", 1)
    assert [part.value for part in netlist.components] == ["Fuse", "10k log"]


words = st.sampled_from([*sorted(WORDS), "R1", "Q2", "net", "1=A", "c=B", "A", "10k", '"', "; rating", "#", "=", "\n"])


@settings(max_examples=150, deadline=None)
@given(st.one_of(st.text(max_size=60), st.lists(words, max_size=12).map(" ".join)))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        netlist, _ = read_sample(text, "rule.yaml", 1)
    except Refused as refused:
        assert all(problem.what and problem.line >= 1 for problem in refused.problems)
    else:
        named = {part.reference for part in netlist.components}
        assert named and all(node.reference in named for net in netlist.nets for node in net.nodes)
