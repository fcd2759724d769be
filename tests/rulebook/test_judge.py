"""Judging: the table of outcomes, identities that stay, subjects in pairs, bounds on work."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import pytest
from test_load import GOOD

from netcheck.circuit.board import understand
from netcheck.circuit.model import join
from netcheck.circuit.sampling import read_sample
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.judge import judge
from netcheck.rulebook.load import load_rule
from netcheck.rulebook.rule import Rule
from netcheck.rulebook.verdicts import Verdict

OUTPUT_PAIR = """\
Q1 npn  c=+15V b=B1 e=OUT
Q2 pnp  c=-15V b=B2 e=OUT
D1 diode a=B1 k=M
D2 diode a=M k=B2
R5 4k7 +15V B1
R6 4k7 -15V B2
J1 jack T=OUT S=GND
"""


def facts_of(text: str, book) -> Facts:
    netlist, hints = read_sample(text, "test", 1, "amp")
    return Facts(join((understand(netlist, "amp", book.parts, book.words, hints),)), book.words, book.parts, book.bind)


def rule_of(tmp_path: Path, book, text: str) -> Rule:
    (tmp_path / "ours").mkdir(exist_ok=True)
    path = tmp_path / "ours" / "led-resistor.yaml"
    path.write_text(text, encoding="utf-8")
    return load_rule(path, "led.yaml", book.words, book.vocabulary, supplied=False)


def outcomes(rule: Rule, circuit: str, book) -> dict[str, Verdict]:
    return {verdict.subject: verdict for verdict in judge(rule, facts_of(circuit, book))}


def test_a_finding_carries_sentence_numbers_evidence_and_place(tmp_path: Path, book) -> None:
    rule = rule_of(tmp_path, book, GOOD)
    found = outcomes(rule, "D1 led a=A k=GND\nR1 10R +5V A\n", book)["D1"]
    assert found.outcome == "finding"
    assert found.sentence == "D1 has only none on its anode."
    assert found.remedy == "Put 100 Ω or more in series with D1."
    assert "amp/R1" in found.evidence
    assert found.line == 1


@pytest.mark.parametrize(
    ("where", "aside", "expected"),
    [
        ("led.anode.net.role == 'rail'", None, None),
        ("led.anode.net.role == 'signal'", None, "finding"),
        ("led.anode.net.role == 'signal'", "led.value == ''", "set aside"),
        ("volts(led.anode) < least_volts", None, "undecided"),
        (None, "volts(led.anode) < least_volts", "undecided"),
    ],
)
def test_the_table_of_outcomes(
    tmp_path: Path, book, where: str | None, aside: str | None, expected: str | None
) -> None:
    text = GOOD.replace("limits: {least: 100 ohm}", "limits: {least: 100 ohm, least_volts: 2 V}")
    text = text.replace("for: [least]", "for: [least, least_volts]")
    if where:
        text = text.replace("let:", f"where: {where}\nlet:")
    if aside:
        text = text.replace("let:", f"set aside:\n  - when: {aside}\n    because: it is meant so\nlet:")
    found = outcomes(rule_of(tmp_path, book, text), "D1 led a=A k=GND\nR1 10R +5V A\n", book)
    assert (found["D1"].outcome if found else None) == expected


def test_an_identity_does_not_know_order_codes_or_unrelated_parts(book) -> None:
    """The same circuit with lines in another order, other net codes and further parts: same identities."""
    rule = book.rule("output-stage/emitter-resistors")
    assert rule is not None
    before = {v.identity for v in judge(rule, facts_of(OUTPUT_PAIR, book)) if v.outcome == "finding"}
    lines = OUTPUT_PAIR.splitlines()
    random.Random(7).shuffle(lines)
    after = {
        v.identity for v in judge(rule, facts_of("\n".join(["R99 1k X1 X2", *lines]), book)) if v.outcome == "finding"
    }
    assert before and before == after


def test_two_names_over_one_list_give_each_pair_once(tmp_path: Path, book) -> None:
    text = GOOD.replace("for each: led", "for each: {one: led, other: led}").replace("led.anode", "one.anode")
    text = text.replace("{{led}}", "{{one}} beside {{other}}")
    rule = replace(rule_of(tmp_path, book, text), samples=())
    found = outcomes(rule, "D1 led a=A k=GND\nD2 led a=A k=GND\nD3 led a=A k=GND\n", book)
    assert sorted(found) == ["D1 and D2", "D1 and D3", "D2 and D3"]


def test_too_many_steps_leave_it_undecided(tmp_path: Path, book) -> None:
    text = GOOD.replace(
        "count(suitable) > 0", "count(a for a in led.cathode.net.pins for b in led.cathode.net.pins if a != b) > 0"
    )
    circuit = "".join(f"R{n} 1k GND N{n}\n" for n in range(380)) + "D1 led a=A k=GND\n"
    found = outcomes(rule_of(tmp_path, book, text), circuit, book)["D1"]
    assert found.outcome == "undecided"
    assert found.reasons == ("took too many steps",)


def test_what_is_not_fitted_is_told_and_does_not_count(tmp_path: Path, book) -> None:
    text = GOOD.replace("parts_on(led.anode, ['resistor'])", "parts_between(led.anode, rails_first, ['resistor'])")
    text = text.replace("let:", "let:\n  rails_first: first(rails)")
    found = outcomes(
        rule_of(tmp_path, book, text), "D1 led a=A k=GND\nR1 not fitted 1k +5V A\nU1 TL072 8=+5V 4=GND\n", book
    )
    assert found["D1"].outcome == "finding"
    assert found["D1"].notes == ("R1 would, but is not fitted",)
