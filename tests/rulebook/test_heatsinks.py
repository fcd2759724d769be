"""Heatsinks of an assembly file as rules see them."""

from __future__ import annotations

from pathlib import Path

from conftest import ROOT

from netcheck.rulebook.book import load_rule_book
from netcheck.rulebook.prove import prove

RULE = """\
rule: heat/sinks
title: A part keeps cool
consequence: damage
cure: wiring
why: Heat.
remedy: Use a larger one.
sources:
  - {text: of our own, status: common practice, for: [most]}
for each: npn
limits: {most: 10 K/W}
set aside:
  - when: npn.heatsink is nothing
    because: "{{npn}} is on no heatsink"
  - when: npn in npn.heatsink.insulated
    because: "{{npn}} is insulated from {{npn.heatsink}}"
require:
  - that: npn.heatsink.to_air <= most
    else: "{{npn}} is on {{npn.heatsink}}, {{npn.heatsink.to_air}}, with {{npn.heatsink.parts}}."
samples:
SAMPLES
"""
CIRCUIT = """\
    boards:
      amp: |
        Q1 npn b=A c=B e=C
        Q2 npn b=A c=B e=C
"""


def sample(title: str, expect: str, *more: str) -> str:
    lines = [f"  - title: {title}", f"    expect: {expect}", *more[:-1]]
    return "\n".join(lines) + "\n" + CIRCUIT + f"    assembly:\n      {more[-1]}\n"


SAMPLES = (
    sample("small", "finding", "    at: [Q1, Q2]",
           "    says: is on the heatsink of Q1 and Q2, 20 K/W, with Q1 and Q2",
           "heatsinks: [{parts: [amp.Q1, amp.Q2], to air: 20 K/W}]")
    + sample("large", "clear", "heatsinks: [{parts: [amp.Q1, amp.Q2], to air: 4 K/W}]")
    + sample("on none", "set aside", "    at: [Q2]", "heatsinks: [{parts: [amp.Q1], to air: 4 K/W}]")
    + sample("insulated", "set aside", "    at: [Q1]",
             "heatsinks: [{parts: [amp.Q1, amp.Q2], insulated: [amp.Q1], to air: 4 K/W}]")
    + sample("how good is not told", "undecided", "    at: [Q1, Q2]",
             "    says: the thermal resistance of the heatsink of Q1 and Q2 is not given",
             "heatsinks: [{parts: [amp.Q1, amp.Q2]}]")
    + sample("nothing told", "undecided", "    at: [Q1, Q2]",
             "    says: is not given", "ambient: 30 C")
)  # fmt: skip


def test_a_rule_asks_for_the_heatsink_of_a_part(tmp_path: Path) -> None:
    (tmp_path / "heat").mkdir()
    text = RULE.replace("SAMPLES\n", SAMPLES)
    (tmp_path / "heat" / "sinks.yaml").write_text(text, encoding="utf-8")
    book = load_rule_book(ROOT / "rules", house=[tmp_path])
    rule = book.rule("heat/sinks")
    assert rule is not None
    proof = prove(rule, book)
    assert proof.failures == ()
