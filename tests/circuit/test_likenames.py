"""Names that may be one name: what is a slip of the pen and what tells nets apart."""

from __future__ import annotations

import string

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.circuit.likenames import last_name, near_names, same_letters, slips
from netcheck.circuit.model import Net

NAMES = st.text(alphabet=string.ascii_letters + string.digits + "+-_/~ .", max_size=12)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("PHONE", "PHONES"),
        ("left/FB", "left/F8"),
        ("GNDA", "AGND"),
        ("BIAS", "BAIS"),
        ("MUTE", "MUET"),
        ("VREF", "VRTF"),
    ],
)
def test_one_slip_either_way(one: str, other: str) -> None:
    assert slips(one, other) == slips(other, one) == 1


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("IN1", "IN2"),
        ("IN1", "IN11"),
        ("V+", "V-"),
        ("OUT_L", "OUT_R"),
        ("A", "B"),
        ("RESET", "~{RESET}"),
        ("TX", "RX"),
    ],
)
def test_what_tells_nets_apart_is_no_slip(one: str, other: str) -> None:
    assert slips(one, other) is None
    assert slips(other, one) is None


@settings(max_examples=80, deadline=None)
@given(NAMES, NAMES)
def test_slips_are_the_same_from_either_side(one: str, other: str) -> None:
    found = slips(one, other)
    assert found == slips(other, one)
    assert (found == 0) == (last_name(one) == last_name(other))


@settings(max_examples=60, deadline=None)
@given(st.text(alphabet=string.ascii_lowercase, min_size=2, max_size=10), st.data())
def test_a_letter_left_out_is_one_slip(name: str, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(name) - 1))
    short = name[:at] + name[at + 1 :]
    assert slips(name, short) == 1


def net(name: str, board: str = "amp") -> Net:
    return Net(f"{board}/net/{name}", board, name, "", ())


def near(name: str, *others: str) -> list[str]:
    return [found.name for found in near_names(net(name), [net(other) for other in (name, *others)], 1)]


def test_the_nearest_name_comes_first_then_the_own_sheet() -> None:
    assert near("amp/PHONE", "PHONES", "amp/PHONES", "Phone") == ["Phone", "amp/PHONES", "PHONES"]


def test_one_drawing_used_twice_may_have_equal_names() -> None:
    assert near("left/OUT", "right/OUT", "right/FB", "left/FB") == []
    assert near("left/OUT", "meter/OUT", "left/FB", "meter/ZERO") == ["meter/OUT"]


def test_names_of_another_board_are_not_near() -> None:
    assert near_names(net("PHONE"), [net("PHONES", "panel")], 1) == ()


def test_a_net_without_a_name_is_like_none() -> None:
    assert near_names(net(""), [net("A")], 1) == ()


def test_the_same_letters_in_another_order_or_sheet() -> None:
    others = [net(name) for name in ("AGND", "GND", "meter/GNDA", "GNDD")]
    assert [found.name for found in same_letters(net("GNDA"), others)] == ["AGND", "meter/GNDA"]
