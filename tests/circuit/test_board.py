"""A board holds all that its netlist holds, under keys that do not depend on the order of the file."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from recognition import board_of, book, component, corpus_files, corpus_netlist, netlist, words

from netcheck.circuit.account import account
from netcheck.circuit.board import given_name, understand
from netcheck.circuit.model import KINDS, NET_ROLES, PIN_ROLES, Board, join
from netcheck.ground.problems import Refused
from netcheck.intake.netlist import Netlist

R = {part: component(part, "1k", "R", "", "1 2") for part in ("R1", "R2", "R3")}
AMP = component("U1", "NE5532", "NE5532", "Package_DIP:DIP-8_W7.62mm", "1 2 3 4 5 6 7 8")


def keys(board: Board) -> set[tuple[str, tuple[str, ...]]]:
    return {(net.key, net.pins) for net in board.nets}


def test_nets_without_a_name_are_called_after_their_senior_pin() -> None:
    board = board_of([R["R1"], R["R2"], AMP], {"Net-(R1-Pad1)": "R1.1 R2.2 U1.2", "Net-(R2-Pad1)": "R2.1 R1.2"})
    assert {net.key for net in board.nets if len(net.pins) > 1} == {"amp/net of U1.2", "amp/net of R1.2"}
    assert {net.name for net in board.nets} == {""}


def test_nets_with_a_name_keep_it() -> None:
    board = board_of([R["R1"]], {"/+15V": "R1.1", "/amp/OUT": "R1.2"})
    assert {net.key for net in board.nets} == {"amp/net/+15V", "amp/net/amp/OUT"}


def test_two_nets_of_one_name_are_told_apart_by_senior_pin_and_not_by_code() -> None:
    nets = {"OUT#1": "R3.1", "OUT#2": "R1.1", "A": "R1.2 R2.1 R2.2 R3.2"}
    parts = list(R.values())
    one = understand(netlist(parts, nets), "amp", book(), words())
    other = understand(
        netlist(parts, dict(reversed(nets.items())), {"OUT#1": "7", "OUT#2": "9"}), "amp", book(), words()
    )
    assert {net.key: net.pins for net in one.nets} == {net.key: net.pins for net in other.nets}
    assert dict(keys(one))["amp/net/OUT"] == ("amp/R1.1",)
    assert dict(keys(one))["amp/net/OUT (2)"] == ("amp/R3.1",)


@pytest.mark.parametrize(
    "name", ["Net-(C8-Pad2)", "/amp/Net-(C8-Pad2)", "unconnected-(U1-Pad5)", "N-000012", "N$4", ""]
)
def test_names_that_the_editor_made(name: str) -> None:
    assert given_name(name) == ""


@pytest.mark.parametrize("name", ["Network", "N", "Net1", "NC", "unconnected", "-15V"])
def test_names_that_only_look_like_it(name: str) -> None:
    assert given_name(name) == name


def test_pins_that_no_net_lists_have_a_net_of_their_own() -> None:
    board = board_of([AMP], {"A": "U1.1 U1.2"})
    circuit = join((board,))
    pin = circuit.pins["amp/U1.5"]
    assert not pin.listed
    assert circuit.net_of(pin).pins == ("amp/U1.5",)
    assert circuit.net_of(pin).key == "amp/net of U1.5"


def test_a_part_that_only_nets_name_is_kept() -> None:
    board = board_of([R["R1"]], {"A": "R1.1 Q7.1", "B": "R1.2 Q7.2"})
    lost = next(part for part in board.parts if part.ref == "Q7")
    assert lost.kind == "unknown"
    assert any("Q7" in remark for remark in board.remarks)


def test_a_pin_on_two_nets_stays_on_both() -> None:
    board = board_of([R["R1"], R["R2"]], {"A": "R1.1 R2.1", "B": "R1.1 R2.2"})
    assert [net.name for net in board.nets if "amp/R1.1" in net.pins] == ["A", "B"]


def test_a_table_that_is_wrong_is_told_with_its_place() -> None:
    broken = replace(words(), sections={})
    with pytest.raises(Refused, match="library parts"):
        understand(netlist([R["R1"]], {}), "amp", book(), broken)


def shuffled(original: Netlist, seed: int) -> Netlist:
    """The same circuit with parts, nets, nodes and codes in another order."""
    order = random.Random(seed)
    codes = [net.code for net in original.nets]
    order.shuffle(codes)
    nets = [
        replace(net, code=code, nodes=tuple(order.sample(net.nodes, len(net.nodes))))
        for net, code in zip(original.nets, codes, strict=True)
    ]
    order.shuffle(nets)
    return replace(
        original, components=tuple(order.sample(original.components, len(original.components))), nets=tuple(nets)
    )


def test_keys_and_roles_do_not_depend_on_the_order_of_the_file() -> None:
    for path in corpus_files()[::12]:
        original = corpus_netlist(path)
        boards = [
            understand(each, "b", book(), words()) for each in (original, shuffled(original, 1), shuffled(original, 2))
        ]
        for other in boards[1:]:
            assert keys(boards[0]) == keys(other), path.name
            assert boards[0].parts == other.parts, path.name
            assert boards[0].amplifiers == other.amplifiers, path.name


def test_nothing_of_a_real_file_is_lost() -> None:
    for path in corpus_files():
        original = corpus_netlist(path)
        board = understand(original, "b", book(), words())
        assert {part.ref for part in board.parts} >= {each.reference for each in original.components}
        nodes = {(node.reference, node.pin) for net in original.nets for node in net.nodes}
        assert {(part.ref, pin.number) for part in board.parts for pin in part.pins} >= nodes
        assert sorted(net.code for net in board.nets if net.code) == sorted(net.code for net in original.nets)
        assert len({net.key for net in board.nets}) == len(board.nets)
        circuit = join((board,))
        for part in board.parts:
            assert part.kind in KINDS
            for pin in part.pins:
                assert pin.role in PIN_ROLES
                assert pin.key in circuit.nets[pin.net].pins
        assert {net.role for net in board.nets} <= NET_ROLES


def test_real_boards_are_understood_nearly_whole() -> None:
    parts = unknown = pins = bare = 0
    for path in corpus_files():
        for part in understand(corpus_netlist(path), "b", book(), words()).parts:
            parts += 1
            unknown += part.kind == "unknown"
            pins += len(part.pins)
            bare += sum(not pin.role for pin in part.pins)
    print(f"{unknown} of {parts} parts of unknown kind, {bare} of {pins} pins without a role")
    assert unknown / parts <= 0.005
    assert bare / pins <= 0.02


def test_the_account_names_what_was_not_understood() -> None:
    parts = [
        component("Q1", "NPN", "NPN", "", "1 2 3"),
        component("Z1", "?", "", "", "1 2"),
        AMP,
        component("R1", "TBD", "R", "", "1 2"),
    ]
    nets = {"A": "U1.1 U1.2 Q1.1 Z1.1 R1.1", "B": "U1.3 Q1.2 Z1.2 R1.2", "+15V": "U1.8", "-15V": "U1.4"}
    board = board_of(parts, nets)
    told = account(board, join((board,)))
    assert {row.what for row in told.not_understood} >= {
        "what pins 1, 2 and 3 of Q1 are for",
        "what Z1 is",
        "the value of R1",
    }
    assert [row.what for row in told.amplifiers] == [
        "op-amp NE5532, supplied from +15V and -15V",
        "op-amp NE5532, unit B is nowhere in the schematic",
    ]
    assert sum(len(row.keys) for row in told.kinds) == len(parts)
    assert {"+15 V", "-15 V"} <= {row.what for row in told.rails}
