"""A shape that takes too many steps is given up once, and every rule over it says that it is undecided."""

from __future__ import annotations

import pytest

from netcheck.circuit.board import understand
from netcheck.circuit.model import join
from netcheck.circuit.sampling import read_sample
from netcheck.language.scope import TooManySteps
from netcheck.rulebook import facts as facts_module
from netcheck.rulebook.book import load_rule_book
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.judge import judge

CIRCUIT = "Q1 npn c=+15V b=B1 e=OUT\nQ2 pnp c=-15V b=B2 e=OUT\nJ1 jack T=OUT S=GND"


def test_a_shape_is_given_up_once(monkeypatch: pytest.MonkeyPatch) -> None:
    tried: list[str] = []

    def give_up(shape: object, *others: object) -> object:
        tried.append(shape.name)  # type: ignore[attr-defined]
        raise TooManySteps

    book = load_rule_book()
    netlist, hints = read_sample(CIRCUIT, "test", 1)
    board = understand(netlist, "amp", book.parts, book.words, hints)
    facts = Facts(join((board,)), book.words, book.parts, book.bind)
    monkeypatch.setattr(facts_module, "find_matches", give_up)
    rule = book.rule("output-stage/emitter-resistors")
    assert rule is not None
    for _ in range(2):
        (verdict,) = judge(rule, facts)
        assert verdict.outcome == "undecided"
        assert verdict.reasons and "steps" in verdict.reasons[0]
    assert sorted(tried) == sorted(set(tried))
