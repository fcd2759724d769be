"""One channel spoilt on purpose: another value is found in its place, a missing part sets nothing else at odds."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import lru_cache

import pytest
from conftest import ROOT

from netcheck.intake.netlist import Netlist
from netcheck.intake.reading import read_netlist
from netcheck.review import BoardPlan, Plan, facts_of
from netcheck.rulebook.book import RuleBook
from netcheck.rulebook.judge import judge

AMPLIFIER = ROOT / "fixtures" / "bandroom" / "revision-b" / "amp.net"
VALUES = ["R101", "R204", "R105", "R207", "R113", "C102", "C203", "C104"]
MISSING = ["R102", "R203", "R104", "C201", "C103", "D101", "Q201", "R211"]


@lru_cache(maxsize=1)
def amplifier() -> Netlist:
    return read_netlist(AMPLIFIER)


def partner(reference: str) -> str:
    return reference[0] + {"1": "2", "2": "1"}[reference[1]] + reference[2:]


def found(netlist: Netlist, book: RuleBook) -> set[str]:
    facts = facts_of(Plan("amp", (BoardPlan("amp", netlist),), book))
    rules: Iterable = (rule for rule in book.rules if rule.name.startswith("signal/channel"))
    return {v.subject for rule in rules for v in judge(rule, facts) if v.outcome == "finding"}


@pytest.mark.parametrize("reference", VALUES)
def test_another_value_in_one_channel_is_found(reference: str, book: RuleBook) -> None:
    netlist = amplifier()
    value = "123k" if reference.startswith("R") else "123n"
    parts = tuple(replace(c, value=value) if c.reference == reference else c for c in netlist.components)
    pair = sorted([reference, partner(reference)])
    assert found(replace(netlist, components=parts), book) == {" and ".join(pair)}


@pytest.mark.parametrize("reference", MISSING)
def test_a_missing_part_sets_nothing_else_at_odds(reference: str, book: RuleBook) -> None:
    netlist = amplifier()
    parts = tuple(c for c in netlist.components if c.reference != reference)
    nets = tuple(replace(n, nodes=tuple(x for x in n.nodes if x.reference != reference)) for n in netlist.nets)
    assert found(replace(netlist, components=parts, nets=nets), book) == set()
