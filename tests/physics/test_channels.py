"""Left and right laid side by side: what is coupled, what is left over, where they meet, what is no pair."""

from __future__ import annotations

import pytest

from netcheck.circuit.board import understand
from netcheck.circuit.model import join
from netcheck.circuit.sampling import read_sample
from netcheck.circuit.sides import pairs_by_side, side_words
from netcheck.circuit.walk import Walks
from netcheck.physics.channels import ChannelPair, channels
from netcheck.rulebook.book import load_rule_book

BOOK = load_rule_book()
WORDS = side_words(["L/R", "LEFT/RIGHT"])

CHANNEL = """
U{n} NE5532 1=OUT{s} 2=FB{s} 3=A{s} 4=-15V 5=GND 6=X{n} 7=X{n} 8=+15V
C{n}1 10u IN{s} A{s}
R{n}1 100k A{s} GND
R{n}2 3k3 FB{s} GND
R{n}3 10k OUT{s} FB{s}
C{n}2 47p OUT{s} FB{s}
R{n}4 100R OUT{s} SOCKET{s}
"""
SOCKETS = "J1 jack T=IN{l} R=IN{r} S=GND\nJ2 jack T=SOCKET{l} R=SOCKET{r} S=GND\n"


def pairs_of(text: str) -> tuple[ChannelPair, ...]:
    netlist, hints = read_sample(text, "channels.txt", board="amp")
    circuit = join((understand(netlist, "amp", BOOK.parts, BOOK.words, hints),))
    return channels(Walks(circuit), BOOK.words)


def stereo(left: str = "_L", right: str = "_R", sockets: str = SOCKETS) -> str:
    both = CHANNEL.format(n=1, s=left) + CHANNEL.format(n=2, s=right)
    return both + sockets.format(l=left, r=right)


def coupled(pairs: tuple[ChannelPair, ...]) -> set[tuple[str, str]]:
    return {(c.left.removeprefix("amp/"), c.right.removeprefix("amp/")) for pair in pairs for c in pair.couples}


WHOLE = {(f"{letter}1{n}", f"{letter}2{n}") for letter, n in ["C1", "C2", "R1", "R2", "R3", "R4"]} | {("U1", "U2")}


@pytest.mark.parametrize(
    "text",
    [
        stereo(),
        stereo("/left", "/right", "J1 header 1=IN{l} 2=IN{r} 3=GND\nJ2 header 1=SOCKET{l} 2=SOCKET{r} 3=GND\n"),
        stereo("a", "b"),  # tip and ring of the jacks are all that tells
        stereo("a", "b", "RV1 potentiometer 10k 1=GND 2=INa 3=P 4=GND 5=INb 6=Q\nJ1 header 1=P 2=Q 3=GND\n"),
        stereo("a", "b", "J1 rca IN_L T=INa S=GND\nJ2 rca IN_R T=INb S=GND\n"),
    ],
    ids=["names", "sheets", "a jack", "gangs", "sockets"],
)
def test_channels_are_known_from(text: str) -> None:
    assert coupled(pairs_of(text)) == WHOLE


@pytest.mark.parametrize("gone", ["C12", "C22", "R24", "R11"])
def test_a_gap_leaves_the_rest_coupled(gone: str) -> None:
    text = "\n".join(line for line in stereo().splitlines() if not line.startswith(f"{gone} "))
    pairs = pairs_of(text)
    partner = {"1": "2", "2": "1"}[gone[1]]
    assert coupled(pairs) == {couple for couple in WHOLE if gone not in couple}
    assert {key for pair in pairs for key in pair.left_over} == {f"amp/{gone[0]}{partner}{gone[2]}"}


def test_a_wrong_value_keeps_its_place() -> None:
    assert coupled(pairs_of(stereo().replace("R23 10k", "R23 1M"))) == WHOLE


def test_parts_side_by_side_are_coupled_by_value() -> None:
    more = "R31 1k A_L GND\nR32 2k A_L GND\nR41 2k A_R GND\nR42 1k A_R GND\n"
    assert {("R31", "R42"), ("R32", "R41")} <= coupled(pairs_of(stereo() + more))


@pytest.mark.parametrize(("plus", "same"), [("A_R minus=IN_R", False), ("IN_R minus=A_R", True)])
def test_direction_of_capacitors_is_compared(plus: str, same: bool) -> None:
    text = stereo().replace("C11 10u IN_L A_L", "C11 polarised 10u plus=IN_L minus=A_L")
    pairs = pairs_of(text.replace("C21 10u IN_R A_R", f"C21 polarised 10u plus={plus}"))
    assert [c.same_way for pair in pairs for c in pair.couples if c.left == "amp/C11"] == [same]


TWO_IN_ONE_PACKAGE = """
U1 NE5532 1=LOW 2=LOW 3=A 4=-15V 5=B 6=HIGH 7=HIGH 8=+15V
R1 10k IN A
C1 10n A GND
C2 10n IN B
R2 10k B GND
J1 jack T=IN S=GND
J2 header 1=LOW 2=HIGH 3=GND
"""
BALANCED_OUT = """
U1 NE5532 1=OUT 2=OUT 3=IN 4=-15V 5=GND 6=M 7=INV 8=+15V
R1 10k OUT M
R2 10k M INV
R3 100R OUT TIP
R4 100R INV RING
J1 jack T=TIP R=RING S=GND
"""
BALANCED_IN = """
U1 NE5532 1=OUT 2=N 3=P 4=-15V 5=GND 6=X 7=X 8=+15V
R1 10k TIP P
R2 10k RING N
R3 10k P GND
R4 10k N OUT
J1 jack T=TIP R=RING S=GND
"""
BUTTONS = """
SW1 button BTN_L GND
SW2 button BTN_R GND
R1 10k +5V BTN_L
R2 4k7 +5V BTN_R
U1 microcontroller 1=BTN_L 2=BTN_R 3=+5V 4=GND
"""


@pytest.mark.parametrize("text", [TWO_IN_ONE_PACKAGE, BALANCED_OUT, BALANCED_IN, BUTTONS])
def test_no_channels(text: str) -> None:
    assert pairs_of(text) == ()


def test_channels_meet_by_a_part_and_on_a_net() -> None:
    (pair,) = pairs_of(stereo() + "R5 10k FB_L FB_R\nR6 1k A_L S\nR7 1k A_R S\nR8 1k S GND\n")
    found = {(m.part, m.nets, m.left, m.right, m.opposite) for m in pair.meetings}
    assert found == {
        ("amp/R5", ("amp/net/FB_L", "amp/net/FB_R"), (), (), True),
        ("", ("amp/net/S",), ("amp/R6.2",), ("amp/R7.2",), True),
    }


def test_what_is_found_does_not_hang_on_the_order_of_lines() -> None:
    lines = stereo().strip().splitlines()
    assert coupled(pairs_of("\n".join(reversed(lines)))) == coupled(pairs_of("\n".join(lines)))


@pytest.mark.parametrize(
    ("names", "pairs"),
    [
        (["IN_L", "IN_R", "IN"], [("IN_L", "IN_R")]),
        (["OUTL", "OUTR"], [("OUTL", "OUTR")]),
        (["/right/FB", "/left/FB"], [("/left/FB", "/right/FB")]),
        (["/left/OUT_L", "/right/OUT_R"], [("/left/OUT_L", "/right/OUT_R")]),
        (["/left/IN_R", "/right/IN_R"], []),
        (["SIGNAL", "FLAGL"], []),
        (["/a/IN_L", "/b/IN_R"], []),
    ],
)
def test_names_that_differ_in_the_side_only(names: list[str], pairs: list[tuple[str, str]]) -> None:
    assert pairs_by_side({name: name for name in names}, WORDS) == pairs


def crossings(text: str) -> set[tuple[tuple[str, ...], tuple[str, ...]]]:
    return {(crossing.nets, crossing.parts) for pair in pairs_of(text) for crossing in pair.crossings}


def test_channels_that_change_places_are_told() -> None:
    assert crossings(stereo()) == set()
    wrong = stereo().replace("R14 100R OUT_L SOCKET_L", "R14 100R OUT_L SOCKET_R")
    wrong = (
        wrong.replace("R24 100R OUT_R SOCKET_R", "R24 100R OUT_R SOCKET_L") + "R5 10k SOCKET_L GND\nR6 10k SOCKET_R GND"
    )
    assert crossings(wrong) == {(("amp/net/SOCKET_R", "amp/net/SOCKET_L"), ("amp/R14", "amp/R24"))}
    jack = stereo().replace("J2 jack T=SOCKET_L R=SOCKET_R", "J2 jack T=SOCKET_R R=SOCKET_L")
    assert crossings(jack) == {(("amp/net/SOCKET_L", "amp/net/SOCKET_R"), ())}


def test_gangs_tell_no_side() -> None:
    assert crossings(stereo() + "RV1 potentiometer 10k 1=GND 2=IN_R 3=P 4=GND 5=IN_L 6=Q") == set()
