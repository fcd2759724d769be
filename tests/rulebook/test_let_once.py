"""Names of `let` that no subject changes are evaluated once for all subjects; those that one changes, for each."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from test_judge import facts_of, rule_of

from netcheck.language.scope import Scope
from netcheck.rulebook.judge import judge
from netcheck.rulebook.rule import Rule

RULE = """\
rule: ours/led-resistor
title: For the test
consequence: damage
cure: board
why: For the test.
remedy: None.
sources: [{text: made up, status: common practice, for: [most]}]
for each: resistor
limits: {most: 1 kohm}
tables:
  size(x):
    - if: x > most and resistor.ohms > most
      then: large
    - else: small
let:
  all_caps: list(c for b in boards for c in b.parts if c.kind == 'capacitor')
  behind: list(c for c in all_caps if c.kind == 'capacitor')
  own: list(c for p in resistor.pins for c in parts_on(p))
  sized: size(most + most)
  last: count(own) + count(behind)
require:
  - that: count(own) < 0 and sized == 'small' or last < 0
    else: "{{own}}, {{sized}}"
samples:
  - {title: a, expect: finding, at: [R1], says: R1, circuit: R1 2k A B}
  - {title: b, expect: clear, circuit: R1 2k A B}
"""


def counted(rule: Rule) -> tuple[Rule, Counter[str]]:
    """The rule, and how often each name of its `let` is evaluated."""
    counts: Counter[str] = Counter()

    def counting(name: str) -> object:
        run = rule.let[name].run

        def again(scope: Scope) -> object:
            counts[name] += 1
            return run(scope)

        return rule.let[name].run_by(again)

    return replace(rule, let={name: counting(name) for name in rule.let}), counts


@pytest.fixture
def judged(tmp_path: Path, book) -> tuple[list, Counter[str]]:
    rule, counts = counted(rule_of(tmp_path, book, RULE))
    facts = facts_of("R1 2k A B\nR2 2k B C\nR3 500R C A\nC1 1u A B\nC2 1u B C\n", book)
    return list(judge(rule, facts)), counts


def test_each_name_is_evaluated_as_often_as_it_can_change(judged: tuple[list, Counter[str]]) -> None:
    assert judged[1] == {"all_caps": 1, "behind": 1, "own": 3, "sized": 3, "last": 3}


def test_a_table_that_looks_at_the_subject_is_asked_for_each(judged: tuple[list, Counter[str]]) -> None:
    said = {verdict.subject: verdict.sentence for verdict in judged[0]}
    assert {name: sentence.split(", ")[-1] for name, sentence in said.items()} == {
        "R1": "large",
        "R2": "large",
        "R3": "small",
    }


def test_what_was_looked_at_once_is_evidence_for_all(judged: tuple[list, Counter[str]]) -> None:
    assert all({"amp/C1", "amp/C2"} <= set(verdict.evidence) for verdict in judged[0])


def test_a_condition_that_does_not_hold_spares_the_rest(tmp_path: Path, book) -> None:
    text = RULE.replace("require:", "where:\n  - resistor.ohms > most\n  - count(own) > 0\nrequire:", 1)
    rule, counts = counted(rule_of(tmp_path, book, text))
    facts = facts_of("R1 2k A B\nR2 2k B C\nR3 500R C A\nC1 1u A B\nC2 1u B C\n", book)
    assert [verdict.subject for verdict in judge(rule, facts)] == ["R1", "R2"]
    assert counts["own"] == 2
