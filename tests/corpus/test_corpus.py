"""Real exports: nothing is lost or breaks, and on the labelled ones nothing is found that was not judged by hand."""

from __future__ import annotations

import hashlib
from collections import Counter
from datetime import datetime
from pathlib import Path

import pytest
from real_boards import CORPUS, EXPORTS, LABELS, Expected, expected_boards, needs_corpus, netlist_of, review_of

from netcheck.report.grouping import findings
from netcheck.report.page import render_page
from netcheck.rulebook.verdicts import CONSEQUENCES

pytestmark = needs_corpus

MOST_FALSE_SHARE = 0.1
MOST_ENTRIES_WHEN_SOUND = 5
LEAST_LABELLED = 8
BOARDS = expected_boards()
PAGES = EXPORTS[:: max(1, len(EXPORTS) // 10)][:10]

each_board = pytest.mark.parametrize("board", BOARDS, ids=lambda board: board.file)


def differences(board: Expected) -> list[str]:
    """What is found today and was not judged (+), and what was judged and is not found any more (-)."""
    today = {(v.rule, v.subject): v.sentence for v in review_of(board.file).verdicts if v.outcome == "finding"}
    judged = {(found.rule, found.at): found.because for found in board.findings}
    new = [f"+ {rule} at {at}: {said}" for (rule, at), said in today.items() if (rule, at) not in judged]
    gone = [f"- {rule} at {at}: {because}" for (rule, at), because in judged.items() if (rule, at) not in today]
    return new + gone


@each_board
def test_the_file_is_the_one_that_was_judged(board: Expected) -> None:
    assert hashlib.sha256((CORPUS / board.file).read_bytes()).hexdigest() == board.sha256


@each_board
def test_every_finding_was_judged_by_hand(board: Expected) -> None:
    assert not differences(board), "\n".join(differences(board))


@pytest.mark.parametrize("board", [board for board in BOARDS if board.sound], ids=lambda board: board.file)
def test_few_entries_of_a_sort_stand_on_the_first_screen_of_a_sound_board(board: Expected) -> None:
    review = review_of(board.file)
    entries: Counter[str] = Counter()
    for group in findings(review.verdicts, review.circuit):
        entries[group.consequence] += len(group.entries)
    assert {word: entries[word] for word in CONSEQUENCES if entries[word] > MOST_ENTRIES_WHEN_SOUND} == {}


def test_the_labels_are_complete() -> None:
    assert len(BOARDS) >= LEAST_LABELLED
    assert len({board.file for board in BOARDS}) == len(BOARDS)
    for board in BOARDS:
        places = Counter((found.rule, found.at) for found in board.findings)
        assert [place for place, times in places.items() if times > 1] == [], board.file
        assert {found.label for found in board.findings} <= set(LABELS), board.file
        assert all(len(found.because) > 10 for found in board.findings), board.file


def test_few_findings_on_real_boards_are_false() -> None:
    labels = Counter(found.label for board in BOARDS for found in board.findings)
    assert labels["true"] > 0
    assert labels["false"] <= MOST_FALSE_SHARE * labels.total()


@pytest.mark.parametrize("path", EXPORTS, ids=lambda path: path.stem)
def test_nothing_of_an_export_is_lost(path: Path) -> None:
    netlist, review = netlist_of(path.name), review_of(path.name)
    circuit = review.circuit
    assert {part.ref for part in circuit.parts.values()} == {component.reference for component in netlist.components}
    assert {net.code for net in circuit.nets.values()} >= {net.code for net in netlist.nets if net.nodes}
    placed = {(circuit.parts[pin.part].ref, pin.number) for pin in circuit.pins.values()}
    listed = {(node.reference, node.pin) for net in netlist.nets for node in net.nodes}
    known = {component.reference for component in netlist.components}
    assert {(reference, pin) for reference, pin in listed if reference in known} <= placed
    assert sum(account.counts[outcome] for account in review.accounts for outcome in account.counts) == len(
        review.verdicts
    )
    assert all(verdict.sentence for verdict in review.verdicts if verdict.outcome != "clear")


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_the_page_of_an_export_can_be_made(path: Path) -> None:
    review = review_of(path.name)
    page = render_page(review, datetime(2025, 1, 1))
    assert page.rstrip().endswith("</html>")
    for verdict in review.verdicts:
        if verdict.outcome == "finding":
            assert verdict.identity in page
