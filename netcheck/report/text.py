"""The review on a terminal: a summary that fits a screen, and what a board was taken for."""

from __future__ import annotations

import textwrap
from collections.abc import Callable

from netcheck.circuit.understanding import Row, Understanding
from netcheck.gates import GATES, HELD, NOT_KNOWN, RELEASED
from netcheck.report.display import compact
from netcheck.report.grouping import findings, questions
from netcheck.report.wording import board_count, clip, counted, headline, prose
from netcheck.review import Review
from netcheck.rulebook.verdicts import OUTCOMES

MOST_LINES = 24
_COLOURS = {HELD: "31;1", NOT_KNOWN: "33", RELEASED: "32", "hazard": "31;1", "damage": "31", "title": "1"}


def summary(review: Review, width: int, colour: bool, report: str = "") -> str:
    """The gates, the gravest findings and the questions, in at most 24 lines.

    Args:
        width: columns of the screen; longer lines are cut.
        colour: whether to set words in colour; the words say the same without.
        report: where the page was written, for the last line.
    """
    width = max(width, 40)
    paint = _painter(colour)
    parts, boards = len(review.circuit.parts), board_count(review)
    title = f"{prose(review.name, 60)}: {counted(boards, 'board')}, {counted(parts, 'part')}"
    lines = [
        paint(clip(title, width), "title"),
        *(clip(line, width) for line in textwrap.wrap(headline(review), width)[:2]),
    ]
    below = _finding_lines(review, width, paint) + _question_lines(review, width) + _tally_lines(review, width)
    below += [f"report: {prose(report, 400)}"] if report else []
    lines += _gate_lines(review, width, MOST_LINES - len(lines) - len(below), paint) + below
    return "\n".join(lines) + "\n"


def _tally_lines(review: Review, width: int) -> list[str]:
    tally = {outcome: sum(v.outcome == outcome for v in review.verdicts) for outcome in OUTCOMES}
    silent = sum(not account.left_out and not any(account.counts.values()) for account in review.accounts)
    left_out = sum(bool(account.left_out) for account in review.accounts)
    told = f"{counted(tally['finding'], 'finding')}, {tally['undecided']} undecided, {tally['set aside']} set aside, "
    told += f"{tally['clear']} clear; {counted(len(review.accounts), 'rule')}, {silent} met nothing"
    told += f", {left_out} left out" if left_out else ""
    return ["", clip(told, width)]


def _painter(colour: bool) -> Callable[[str, str], str]:
    def paint(text: str, name: str) -> str:
        return f"\x1b[{_COLOURS[name]}m{text}\x1b[0m" if colour and name in _COLOURS else text

    return paint


def _gate_lines(review: Review, width: int, room: int, paint: Callable[[str, str], str]) -> list[str]:
    """A line a board (two on a narrow screen), in so many lines; boards that do not fit are counted."""
    narrow = width < 78
    boards = list(review.board_gates.items())
    fit = (room - 1) // (2 if narrow else 1)
    shown = boards if len(boards) <= fit else boards[: max(1, (room - 2) // (2 if narrow else 1))]
    longest = min(max((len(prose(board)) for board, _ in shown), default=0), 8 if narrow else 16)
    lines = [""]
    for board, gates in shown:
        cells = []
        for name in GATES:
            gate = gates[name]
            number = len(gate.held_by) or len(gate.waits_for)
            state = f"{gate.state} ({number})" if number else gate.state
            cells.append(f"{name} {paint(state, gate.state)}{' ' * (23 - len(state))}")
        label = f"{clip(prose(board), longest):<{longest}}  "
        if narrow:
            lines += [(label + cells[0]).rstrip(), (" " * len(label) + cells[1]).rstrip()]
        else:
            lines.append((label + "".join(cells)).rstrip())
    if len(boards) > len(shown):
        lines.append(f"and {counted(len(boards) - len(shown), 'more board', 'more boards')}")
    return lines


def _finding_lines(review: Review, width: int, paint: Callable[[str, str], str]) -> list[str]:
    groups = findings(review.verdicts, review.circuit)
    lines = [""]
    for group in groups[:5]:
        more = f" (+{group.size - 1} alike)" if group.size > 1 else ""
        room = width - len(group.consequence) - len(more) - 1
        sentence = clip(prose(group.entries[0].lead.sentence), room)
        lines.append(f"{paint(group.consequence, group.consequence)} {sentence}{more}")
    if len(groups) > 5:
        lines.append(f"and {counted(len(groups) - 5, 'other sort', 'other sorts')} of finding")
    return lines if groups else ["", "No rule found a fault in what it could look at."]


def _question_lines(review: Review, width: int) -> list[str]:
    asked = questions(review.verdicts, review.circuit)
    if not asked:
        return []
    lines = ["", clip(f"Undecided for want of {counted(len(asked), 'answer')}; those that settle most:", width)]
    for question in asked[:3]:
        tail = f" ({question.touches} {'waits' if question.touches == 1 else 'wait'})"
        lines.append("  " + clip(prose(question.reason), width - len(tail) - 2) + tail)
    return lines


def understanding_text(understanding: Understanding, numbers: bool = False) -> str:
    """What a board was taken for, in full: the first thing to look at when a finding looks odd.

    Args:
        numbers: say at each heading how many lines and how many things stand under it.

    >>> from netcheck.circuit.understanding import Row, Understanding
    >>> rails = (Row(("amp/net/+15V",), "15 V", "by its name"),)
    >>> print(understanding_text(Understanding("amp", rails=rails)), end="")
    amp
    <BLANKLINE>
    Rails
      +15V: 15 V
          by its name
    """
    sections = (
        ("Not understood", understanding.not_understood),
        ("Parts", understanding.kinds),
        ("Rails", understanding.rails),
        ("Grounds", understanding.grounds),
        ("Amplifiers", understanding.amplifiers),
        ("Stages", understanding.stages),
        ("Connectors", understanding.connectors),
    )
    lines = [prose(understanding.board, 80)]
    for heading, rows in sections:
        if not rows:
            continue
        things = len({key for row in rows for key in row.keys})
        tail = f" ({counted(len(rows), 'line')}, {counted(things, 'thing')})" if numbers else ""
        lines += ["", heading + tail]
        for row in rows:
            lines += _row_lines(row, understanding.board)
    if understanding.remarks:
        lines += ["", "How the file was read"]
        for remark in understanding.remarks:
            lines += textwrap.wrap(prose(remark), 100, initial_indent="  ", subsequent_indent="    ")
    return "\n".join(lines) + "\n"


def _row_lines(row: Row, board: str) -> list[str]:
    names = [_short(key, board) for key in row.keys]
    missing = [name for name in names if name not in row.what]
    head = f"{compact(missing)}: {row.what}" if missing else row.what
    lines = textwrap.wrap(prose(head, 20_000), 100, initial_indent="  ", subsequent_indent="    ")
    if row.because:
        lines += textwrap.wrap(prose(row.because), 100, initial_indent="      ", subsequent_indent="      ")
    return lines


def _short(key: str, board: str) -> str:
    """A key as it is written on a board that stands alone: amp/net/+15V is +15V, amp/U1:A is U1A."""
    rest = prose(key.removeprefix(f"{board}/"))
    if rest.startswith("net/"):
        return rest.removeprefix("net/")
    return f"the {rest}" if rest.startswith("net of ") else rest.replace(":", "", 1)
