"""A netlist that is built twice (left, right): what is said of both is said once."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace

from netcheck.ground.names import spoken_list
from netcheck.rulebook.verdicts import Verdict


def told_once(verdicts: Iterable[Verdict], twins: Mapping[str, str]) -> tuple[Verdict, ...]:
    """The same verdicts without those that a twin board has in the same words.

    What stays is the verdict on the board that comes first; it names the others in a note and counts for them too.

    Args:
        twins: board -> the board built from the same netlist that comes first.
    """
    if not twins:
        return tuple(verdicts)
    found: dict[tuple[object, ...], tuple[Verdict, list[str]]] = {}
    names = {*twins, *twins.values()}
    for verdict in verdicts:
        spoken = sorted(name for name in names if _speaks_of(verdict, name))
        board = spoken[0] if len(spoken) == 1 else ""
        same = _in_words_of(twins.get(board, board), board, verdict)
        first, others = found.setdefault(same, (verdict, []))
        if first is not verdict and board:
            others.append(board)
    return tuple(_for_all(first, others) for first, others in found.values())


def _speaks_of(verdict: Verdict, board: str) -> bool:
    return board in verdict.boards or any(_whole(board).search(key) for key in verdict.keys)


def _whole(board: str) -> re.Pattern[str]:
    """A board's name before what is on it, in a key (left/R1, bond/left.H1) or a sentence (left.R1)."""
    return re.compile(rf"(?<![\w.]){re.escape(board)}(?=[./])")


def _in_words_of(senior: str, board: str, verdict: Verdict) -> tuple[object, ...]:
    """Rule, outcome, keys and sentence of a verdict as they would be on the board that comes first."""
    if not board:
        return verdict.rule, verdict.outcome, verdict.keys, verdict.sentence

    def renamed(text: str) -> str:
        return senior if text == board else _whole(board).sub(lambda _: senior, text)

    keys = tuple(sorted(renamed(key) for key in verdict.keys))
    return verdict.rule, verdict.outcome, keys, renamed(verdict.sentence)


def _for_all(verdict: Verdict, others: list[str]) -> Verdict:
    if not others:
        return verdict
    boards = tuple(dict.fromkeys((*verdict.boards, *others)))
    return replace(verdict, boards=boards, notes=(*verdict.notes, f"the same on {spoken_list(others)}"))
