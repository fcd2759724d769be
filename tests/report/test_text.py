"""The summary on a terminal, and what a board was taken for."""

from __future__ import annotations

import dataclasses
import re

import pytest
import report_example as example

from netcheck.circuit.understanding import Row, Understanding
from netcheck.gates import GATES, answer
from netcheck.report.text import MOST_LINES, summary, understanding_text

ANSI = re.compile(r"\x1b\[[0-9;]*m")


@pytest.mark.parametrize("width", [40, 80, 132])
def test_fits_a_screen(width: int) -> None:
    lines = summary(example.review(), width, False, "out/index.html").splitlines()
    assert len(lines) <= MOST_LINES
    assert max(map(len, lines)) <= max(width, 40)


def test_fits_a_screen_with_many_boards() -> None:
    review = example.review()
    many = {f"board {n}": review.gates for n in range(20)}
    lines = summary(dataclasses.replace(review, board_gates=many), 80, False, "out.html").splitlines()
    assert len(lines) <= MOST_LINES
    assert any("more boards" in line for line in lines)


def test_tells_gates_findings_questions_and_where_the_page_is() -> None:
    told = summary(example.review(), 80, False, "out/index.html")
    for words in ("order released", "power-up held (1)", "hazard L reaches", "(+3 alike)", "what J3 is joined to",
                  "10 findings, 5 undecided", "report: out/index.html"):  # fmt: skip
        assert words in told, words


def test_colour_changes_no_word_and_plain_has_no_escape() -> None:
    hostile = example.finding("a/b", "Q1", "amp/Q1", "Q1 \x1b[2J\u202e is bad.", "hazard", "board")
    review = example.review((hostile,), name="Band\x1b]0;x\x07room")
    plain, coloured = summary(review, 80, False), summary(review, 80, True)
    assert "\x1b" not in plain and "\u202e" not in plain
    assert ANSI.sub("", coloured) == plain and coloured != plain


def test_released_is_said_with_its_bound() -> None:
    review = dataclasses.replace(
        example.review(),
        verdicts=(),
        gates={n: answer(n, ()) for n in GATES},
        board_gates={"amp": {n: answer(n, ()) for n in GATES}},
    )
    told = summary(review, 80, False)
    assert "Order is released, as far as was looked." in told
    assert "No rule found a fault in what it could look at." in told
    assert "safe" not in told.lower()


def test_understanding_is_complete() -> None:
    understanding = example.understandings()["amp"]
    told = " ".join(understanding_text(understanding).split())
    for row in (*understanding.kinds, *understanding.rails, *understanding.not_understood, *understanding.stages):
        assert row.what in told and row.because in told
    assert "Q1–Q4: 4 transistors" in told
    assert understanding.remarks[0] in told


def test_understanding_lists_every_part_of_a_large_board() -> None:
    kinds = (Row(tuple(f"amp/R{n}" for n in range(1, 3000, 2)), "1500 resistors"),)
    told = understanding_text(Understanding("amp", kinds=kinds), numbers=True)
    assert "R2999" in told and "(1 line, 1 500 things)" in told.replace("\u202f", " ")
