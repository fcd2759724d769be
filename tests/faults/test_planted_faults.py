"""Mistakes planted at random places of sound circuits: each is found, by its rule and at its place."""

from __future__ import annotations

from functools import cache
from random import Random

import pytest
from planting import KINDS, Planted, Site
from sound_circuits import findings, sound_circuits, told, verdicts_of

from netcheck.review import BoardPlan, Plan, facts_of
from netcheck.rulebook.book import RuleBook, load_rule_book
from netcheck.rulebook.verdicts import Verdict

SEEDS = range(6)


@cache
def sites() -> tuple[Site, ...]:
    book = load_rule_book()
    found = []
    for circuit in sound_circuits():
        plan = Plan("test", (BoardPlan("b", circuit.netlist, circuit.hints),), book)
        found.append(Site(circuit.name, circuit.netlist, circuit.hints, facts_of(plan).circuit.boards[0]))
    return tuple(found)


@cache
def places(name: str) -> tuple[Planted, ...]:
    """All places of all circuits for one kind of mistake, in an order that only the name decides."""
    kind, _ = KINDS[name]
    found = [planted for site in sites() for planted in kind(site)]
    Random(name).shuffle(found)
    return tuple(found)


def speaks_of(verdict: Verdict, keys: frozenset[str]) -> bool:
    """Whether a verdict is about one of the keys, or has one in its evidence."""
    return bool(keys & {*verdict.keys, *verdict.evidence}) or any(
        key == part or part.startswith((f"{key}.", f"{key}:")) for key in keys for part in verdict.keys
    )


def finders(planted: Planted, rules: frozenset[str], book: RuleBook) -> tuple[list[Verdict], list[Verdict]]:
    """Findings that are to the point, and all verdicts of the rules that should find it."""
    verdicts = verdicts_of(planted.netlist, planted.hints, book, rules)
    return [verdict for verdict in findings(verdicts) if speaks_of(verdict, planted.keys)], verdicts


def test_there_are_rules_for_all_kinds_of_mistake(book: RuleBook) -> None:
    names = {rule.name for rule in book.rules}
    missing = {name for name, (_, rules) in KINDS.items() if not rules & names}
    if missing:
        pytest.skip(f"no rule yet for: {sorted(missing)}")


@pytest.mark.parametrize("name", KINDS)
def test_each_kind_of_mistake_has_places(name: str) -> None:
    assert places(name)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("name", KINDS)
def test_a_planted_mistake_is_found(name: str, seed: int, book: RuleBook) -> None:
    _, rules = KINDS[name]
    if seed >= len(places(name)):
        pytest.skip(f"the circuits have only {len(places(name))} places for this mistake")
    if not rules & {rule.name for rule in book.rules}:
        pytest.skip(f"none of {sorted(rules)} is written yet")
    planted = places(name)[seed]
    found, verdicts = finders(planted, rules, book)
    assert found, f"{planted.what}: not found; {sorted(rules)} said: {told(verdicts)}"
