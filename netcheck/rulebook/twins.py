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
    found: dict[tuple[object, ...], Verdict] = {}
    for verdict in verdicts:
        own = {key.split("/", 1)[0] for key in verdict.keys}
        same = _in_words_of_first(verdict, twins) if len(own) == 1 else (verdict.rule, verdict.keys)
        first = found.get(same)
        if first is None:
            found[same] = verdict
        else:
            boards = tuple(dict.fromkeys((*first.boards, *verdict.boards)))
            found[same] = replace(first, boards=boards)
    return tuple(_noted(verdict) for verdict in found.values())


def _in_words_of_first(verdict: Verdict, twins: Mapping[str, str]) -> tuple[object, ...]:
    """Rule, outcome, keys and sentence of a verdict as they would be on the board that comes first."""
    board = verdict.keys[0].split("/", 1)[0]
    senior = twins.get(board, board)
    keys = tuple(f"{senior}/{key.split('/', 1)[1]}" if "/" in key else senior for key in verdict.keys)
    sentence = re.sub(rf"(?<![\w.]){re.escape(board)}(?=\.)", lambda _: senior, verdict.sentence)
    return verdict.rule, verdict.outcome, keys, sentence


def _noted(verdict: Verdict) -> Verdict:
    own = {key.split("/", 1)[0] for key in verdict.keys}
    others = [board for board in verdict.boards if board not in own]
    if len(own) != 1 or not others:
        return verdict
    return replace(verdict, notes=(*verdict.notes, f"the same on {spoken_list(others)}"))
