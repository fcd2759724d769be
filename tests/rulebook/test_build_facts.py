"""What rules on drawing and parts lists can ask for."""

from __future__ import annotations

from dataclasses import replace

import pytest

from netcheck.circuit.board import understand
from netcheck.circuit.model import join
from netcheck.circuit.sampling import read_sample
from netcheck.language.scope import Trace
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.functions import FUNCTIONS
from netcheck.rulebook.nouns import BOARD_ATTRIBUTES, PART_ATTRIBUTES


def facts_of(text: str, book, version: str = "E") -> Facts:
    netlist, hints = read_sample(text, "test", 1, "amp")
    board = understand(replace(netlist, version=version), "amp", book.parts, book.words, hints)
    return Facts(join((board,)), book.words, book.parts, book.bind)


def test_why_a_value_is_no_number(book) -> None:
    facts = facts_of("R1 1m A B\nR2 4k7 A B\n", book)
    doubts = [PART_ATTRIBUTES["value_doubt"].get(facts, part) for part in facts.parts]
    assert doubts == ["the value '1m' may be milliohm or megohm", ""]


@pytest.mark.parametrize(("version", "told"), [("D", False), ("E", True), ("F", True), ("", True)])
def test_old_files_do_not_tell_pins_that_are_open_on_purpose(version: str, told: bool, book) -> None:
    facts = facts_of("R1 1k A B\n", book, version)
    assert BOARD_ATTRIBUTES["tells_open_pins"].get(facts, facts.circuit.boards[0]) is told


def test_a_type_number_may_stand_in_a_field(book) -> None:
    facts = facts_of("D1 diode D A B ; field MPN=SBR2A40P1-7\nD2 diode D A B ; field Note=SBR2A40P1-7\n", book)
    found = [FUNCTIONS["given_type"].call(facts, Trace(), part) for part in facts.parts]
    assert found == ["SBR2A40P1-7", ""]
