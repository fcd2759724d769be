"""Mistakes planted at random places of sound circuits: each is found, by its rule and at its place."""

from __future__ import annotations

from functools import cache
from random import Random

import pytest
from number_faults import NUMBER_KINDS, NUMBERS_NOT_TOLD
from planting import KINDS, NOT_TOLD, Planted, Site
from sound_circuits import facts_about, findings, sound_circuits, told, verdicts_of

from netcheck.rulebook.book import RuleBook, load_rule_book
from netcheck.rulebook.verdicts import Verdict

PLACES_OF_EACH = 6
ALL_KINDS = {**KINDS, **NUMBER_KINDS}
ALL_NOT_TOLD = {**NOT_TOLD, **NUMBERS_NOT_TOLD}


@cache
def sites() -> tuple[Site, ...]:
    book = load_rule_book()
    found = []
    for circuit in sound_circuits():
        boards = facts_about(circuit.netlist, circuit.hints, book, circuit.told).circuit.boards
        board = next(board for board in boards if board.name == "b")
        found.append(Site(circuit.name, circuit.netlist, circuit.hints, board, circuit.told))
    return tuple(found)


@cache
def places(name: str) -> tuple[Planted, ...]:
    """All places of all circuits for one kind of mistake, in an order that only the name decides."""
    kind, _ = ALL_KINDS[name]
    found = [planted for site in sites() for planted in kind(site) if planted.what not in ALL_NOT_TOLD]
    Random(name).shuffle(found)
    return tuple(found)


def speaks_of(verdict: Verdict, keys: frozenset[str]) -> bool:
    """Whether a verdict is about one of the keys, or has one in its evidence."""
    return bool(keys & {*verdict.keys, *verdict.evidence}) or any(
        key == part or part.startswith((f"{key}.", f"{key}:")) for key in keys for part in verdict.keys
    )


def finders(planted: Planted, rules: frozenset[str], book: RuleBook) -> tuple[list[Verdict], list[Verdict]]:
    """Findings that are to the point, and all verdicts of the rules that should find it."""
    verdicts = verdicts_of(planted.netlist, planted.hints, book, rules, planted.told)
    return [verdict for verdict in findings(verdicts) if speaks_of(verdict, planted.keys)], verdicts


def test_there_are_rules_for_all_kinds_of_mistake(book: RuleBook) -> None:
    names = {rule.name for rule in book.rules}
    missing = {name for name, (_, rules) in ALL_KINDS.items() if not rules & names}
    assert missing == set()


def test_what_cannot_be_told_is_still_so(book: RuleBook) -> None:
    """A place that a rule has learnt to see goes off the list."""
    listed = {
        planted.what: (planted, rules)
        for kind, rules in ALL_KINDS.values()
        for site in sites()
        for planted in kind(site)
        if planted.what in ALL_NOT_TOLD
    }
    assert set(listed) == set(ALL_NOT_TOLD)
    assert [what for what, (planted, rules) in listed.items() if finders(planted, rules, book)[0]] == []


@pytest.mark.parametrize("name", ALL_KINDS)
def test_planted_mistakes_are_found(name: str, book: RuleBook) -> None:
    _, rules = ALL_KINDS[name]
    tried = places(name)[:PLACES_OF_EACH]
    assert tried, "no circuit has a place for this mistake"
    missed = []
    for planted in tried:
        found, verdicts = finders(planted, rules, book)
        if not found:
            missed.append(f"{planted.what}: {sorted(rules)} said {told(verdicts)}")
    assert missed == []
