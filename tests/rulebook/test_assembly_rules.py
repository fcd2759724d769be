"""Rules over assemblies: nouns of wiring, samples of several boards, a review from an assembly file."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from conftest import ROOT

from netcheck.command import main
from netcheck.ground.problems import Refused
from netcheck.intake.assemblycheck import open_assembly
from netcheck.review import Review, facts_of, plan_of, review
from netcheck.rulebook.book import RuleBook, load_rule_book
from netcheck.rulebook.prove import prove

FIXTURES = ROOT / "fixtures" / "assemblies"

RULE = """\
rule: wiring/ends-agree
title: Both ends of a wire are meant for the same
consequence: function
cure: wiring
why: A wire joins what it joins, whatever it is called.
remedy: Change the lead.
sources:
  - {text: of our own, status: common practice, for: [most]}
for each:
  cable: cable
  wire: cable.wires
known by: [cable, wire]
limits: {most: 1 V}
require:
  - that: wire.net_from.own_role == wire.net_to.own_role
    else: "{{wire}} joins {{wire.net_from}} ({{wire.net_from.own_role}}) with {{wire.net_to}}."
  - that: wire.net_from.own_role != 'rail' or abs(wire.net_from.own_volts - wire.net_to.own_volts) <= most
    else: "{{wire}} joins {{wire.net_from.own_volts}} with {{wire.net_to.own_volts}}."
samples:
  - title: crossed
    expect: finding
    at: [lead, the lead (pin 1 to 2), the lead (pin 2 to 1)]
    says: with
    boards:
      a: |
        J1 header 1=+15V 2=GND
        U1 NE5532 1=O 2=O 3=IN 4=GND 8=+15V
        C1 1u +15V GND
      b: &BOARD
    assembly:
      cables: [{name: lead, from: a.J1, to: b.J1, wires: {1: 2, 2: 1}}]
  - title: other volts
    expect: finding
    at: [lead, the lead (pin 1)]
    says: joins 15 V with 12 V
    boards:
      a: |
        J1 header 1=+15V 2=GND
        C1 1u +15V GND
      b: |
        J1 header 1=+12V 2=GND
        C1 1u +12V GND
    assembly:
      cables: [{name: lead, from: a.J1, to: b.J1}]
  - title: alike
    expect: clear
    boards:
      a: |
        J1 header 1=+15V 2=GND
        C1 1u +15V GND
      b: |
        J1 header 1=+15V 2=GND
        C1 1u +15V GND
    assembly:
      cables: [{name: lead, from: a.J1, to: b.J1}]
  - title: nobody tells the volts
    expect: undecided
    at: [lead, the lead (pin 1)]
    says: the volts of a.VCC are not known
    boards:
      a: |
        J1 header 1=VCC 2=GND
        C1 1u VCC GND
      b: |
        J1 header 1=VCC 2=GND
        C1 1u VCC GND
    assembly:
      cables: [{name: lead, from: a.J1, to: b.J1}]
"""
BOARD = """|
        J1 header 1=+15V 2=GND
        U1 NE5532 1=O 2=O 3=IN 4=GND 8=+15V
        C1 1u +15V GND"""


def house(folder: Path, text: str) -> RuleBook:
    path = folder / "wiring" / "ends-agree.yaml"
    path.parent.mkdir(parents=True)
    path.write_text(text.replace("&BOARD", BOARD), encoding="utf-8")
    return load_rule_book(house=[folder])


def test_a_rule_over_cables_proves_itself_with_samples_of_several_boards(tmp_path: Path) -> None:
    book = house(tmp_path, RULE)
    rule = book.rule("wiring/ends-agree")
    assert rule is not None
    assert prove(rule, book, break_it=True).failures == () and len(rule.samples) == 4


def test_a_sample_that_joins_what_is_not_there_fails_with_its_place(tmp_path: Path) -> None:
    book = house(tmp_path, RULE.replace("from: a.J1, to: b.J1}", "from: a.J7, to: b.J1}", 1))
    rule = book.rule("wiring/ends-agree")
    assert rule is not None
    assert any("a has no part 'J7'" in failure for failure in prove(rule, book).failures)


def test_a_wrong_key_of_a_sample_s_assembly_is_told_when_the_rule_is_loaded(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="unknown key 'cabels'; did you mean 'cables'"):
        house(tmp_path, RULE.replace("      cables:", "      cabels:", 1))


def test_the_assembly_is_a_subject_and_always_there(tmp_path: Path, book: RuleBook) -> None:
    text = """\
rule: wiring/whole
title: The case is metal and touched
consequence: performance
cure: wiring
why: Of our own.
remedy: Bond it.
sources: [{text: of our own, status: common practice}]
for each: assembly
where:
  - assembly.given
require:
  - that: assembly.case.metal and any(n.on_case for n in assembly.grounds)
    else: "{{assembly}} has no ground on its case."
samples:
  - title: not bonded
    expect: finding
    at: [the assembly]
    says: no ground on its case
    circuit: |
      R1 1k A GND
      C1 1u A GND
      U1 NE5532 4=GND 8=A
    assembly: {case: {material: metal}}
  - title: a screw of which nothing is told
    expect: undecided
    at: [the assembly]
    says: whether sample.H1 touches the case is not given
    circuit: |
      H1 hole ~1=GND
      R1 1k A GND
      C1 1u A GND
      U1 NE5532 4=GND 8=A
    assembly: {case: {material: metal}}
  - title: bonded
    expect: clear
    circuit: |
      H1 hole ~1=GND
      R1 1k A GND
      C1 1u A GND
      U1 NE5532 4=GND 8=A
    assembly: {case: {material: metal, touched by: [sample.H1]}}
  - title: no assembly
    expect: nothing to look at
    circuit: |
      R1 1k A GND
"""
    path = tmp_path / "wiring" / "whole.yaml"
    path.parent.mkdir()
    path.write_text(text, encoding="utf-8")
    book = load_rule_book(house=[tmp_path])
    rule = book.rule("wiring/whole")
    assert rule is not None and prove(rule, book).failures == ()


# From the file


def reviewed(name: str, book: RuleBook) -> Review:
    assembly, netlists = open_assembly(FIXTURES / f"{name}.yaml", cache=False)
    return review(plan_of(assembly, netlists, book))


def found(result: Review, rule: str) -> list[str]:
    return [verdict.sentence for verdict in result.verdicts if verdict.rule == rule and verdict.outcome == "finding"]


def test_the_palindromic_lead_bears_being_turned_and_one_pin_moved_does_not(book: RuleBook) -> None:
    assert found(reviewed("power-lead/palindrome", book), "connectors/turned-plug") == []
    (sentence,) = found(reviewed("power-lead/one-pin-moved", book), "connectors/turned-plug")
    assert "amp.-15V with supply.GND (pin 2)" in sentence


def test_a_ring_of_cables_is_found_and_its_cure_is_clear(book: RuleBook) -> None:
    (sentence,) = found(reviewed("ground-ring/ring", book), "grounding/ground-loop")
    assert "the signal lead (pin 2)" in sentence and "the power lead" in sentence
    assert found(reviewed("ground-ring/cure", book), "grounding/ground-loop") == []


def test_balanced_screens_are_no_fault(book: RuleBook) -> None:
    result = reviewed("balanced/balanced", book)
    loops = [verdict.outcome for verdict in result.verdicts if verdict.rule == "grounding/ground-loop"]
    assert loops and "finding" not in loops


def test_a_board_built_twice_is_told_of_once(book: RuleBook) -> None:
    result = reviewed("balanced/balanced", book)
    of_parts = [v for v in result.verdicts if v.rule == "supply/supply-pins"]
    assert of_parts and all(verdict.boards == ("left", "right") for verdict in of_parts)
    assert all(verdict.notes == ("the same on right",) for verdict in of_parts)


def test_mains_in_the_box_is_cautioned(book: RuleBook) -> None:
    assert any("Mains" in caution for caution in reviewed("mains/right", book).cautions)
    assert reviewed("power-lead/palindrome", book).cautions == ()


def test_the_same_wherever_the_boards_stand_in_the_file(tmp_path: Path, book: RuleBook) -> None:
    for path in (FIXTURES / "power-lead").iterdir():
        shutil.copy(path, tmp_path / path.name)
    text = (tmp_path / "one-pin-moved.yaml").read_text(encoding="utf-8")
    other = text.replace(
        "{supply: supply-moved.net, amp: amp-moved.net}", "{amp: amp-moved.net, supply: supply-moved.net}"
    )
    other = other.replace("from: supply.J2, to: amp.J1", "from: amp.J1, to: supply.J2")
    seen = []
    for name, content in (("one.yaml", text), ("two.yaml", other)):
        (tmp_path / name).write_text(content, encoding="utf-8")
        assembly, netlists = open_assembly(tmp_path / name, cache=False)
        verdicts = review(plan_of(assembly, netlists, book)).verdicts
        seen.append({(v.identity, v.outcome, v.sentence) for v in verdicts})
    assert text != other and seen[0] == seen[1]


# Limits, rules left out, house rules


def with_keys(folder: Path, keys: str) -> Path:
    for path in (FIXTURES / "ground-ring").iterdir():
        shutil.copy(path, folder / path.name)
    text = (folder / "ring.yaml").read_text(encoding="utf-8")
    (folder / "box.yaml").write_text(f"{text}{keys}\n", encoding="utf-8")
    return folder / "box.yaml"


def test_limits_and_rules_left_out_are_applied_and_told(tmp_path: Path, book: RuleBook) -> None:
    keys = "limits: {grounding/ground-loop: {faint: 1 %, because: measured}}\n"
    path = with_keys(tmp_path, f"{keys}leave out: {{signal/bias-path: not of interest}}")
    assembly, netlists = open_assembly(path, cache=False)
    result = review(plan_of(assembly, netlists, book))
    assert found(result, "grounding/ground-loop") == []
    accounts = {account.name: account for account in result.accounts}
    assert ("faint", "0.01", "measured") in accounts["grounding/ground-loop"].limits
    assert accounts["signal/bias-path"].left_out == "not of interest"
    assert not any(verdict.rule == "signal/bias-path" for verdict in result.verdicts)


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        (
            "leave out: {grounding/ground-lop: so}",
            "there is no rule 'grounding/ground-lop'; did you mean 'grounding/ground-loop'",
        ),
        ("limits: {grounding/ground-loop: {open: 1 ohm, because: so}}", "has no limit 'open'; did you mean 'opens'?"),
        ("limits: {grounding/ground-loop: {opens: 1 V, because: so}}", "1 V is in volts; 'opens' is in ohms"),
    ],
)
def test_what_the_rule_book_does_not_have_is_told(tmp_path: Path, book: RuleBook, keys: str, said: str) -> None:
    assembly, netlists = open_assembly(with_keys(tmp_path, keys), cache=False)
    with pytest.raises(Refused, match=said.replace("?", r"\?")):
        plan_of(assembly, netlists, book)


def test_the_command_takes_an_assembly_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "rules" / "wiring").mkdir(parents=True)
    (tmp_path / "rules" / "wiring" / "ends-agree.yaml").write_text(RULE.replace("&BOARD", BOARD), encoding="utf-8")
    path, out = with_keys(tmp_path, "house rules: [rules]"), tmp_path / "r.html"
    assert main(["review", str(path), "--out", str(out), "--no-cache"]) == 0
    said, page = capsys.readouterr().out, out.read_text(encoding="utf-8")
    assert "Ground in a ring: 2 boards" in said and "no assembly file" not in page
    assert "wiring/ends-agree" in page and "the signal lead (pin 2)" in page


def test_an_assembly_file_stands_alone_on_the_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    ring = FIXTURES / "ground-ring"
    assert main(["review", str(ring / "ring.yaml"), str(ring / "amp.net")]) == 2
    assert "an assembly file names its boards itself" in capsys.readouterr().err


def test_boards_side_by_side_have_an_assembly_of_which_nothing_is_told(tmp_path: Path, book: RuleBook) -> None:
    out = tmp_path / "r.html"
    ring = FIXTURES / "ground-ring"
    assert (
        main(["review", str(ring / "amp.net"), str(ring / "source.net"), "--out", str(out), "--quiet", "--no-cache"])
        < 2
    )
    assert "no assembly file" in out.read_text(encoding="utf-8")


def test_facts_of_lone_boards_are_untouched_by_wiring(book: RuleBook) -> None:
    assembly, netlists = open_assembly(FIXTURES / "ground-ring" / "ring.yaml", cache=False)
    facts = facts_of(plan_of(assembly, netlists, book))
    assert facts.assembled is not None and [board.name for board in facts.boards] == ["source", "amp"]


SMALL = {
    "power-lead/palindrome": {"connectors/shifted-plug"},
    "power-lead/one-pin-moved": {"connectors/shifted-plug", "connectors/turned-plug"},
    "ground-ring/ring": {"grounding/ground-loop"},
    "ground-ring/cure": set(),
    "balanced/balanced": set(),
    "mains/wrong": {"mains/earth-bond", "mains/fuse-in-line", "mains/switch-position", "mains/x-capacitor-bleed"},
    "mains/right": set(),
}


@pytest.mark.parametrize("name", sorted(SMALL))
def test_each_small_assembly_has_the_faults_that_it_is_there_for(name: str, book: RuleBook) -> None:
    result = reviewed(name, book)
    assert {verdict.rule for verdict in result.verdicts if verdict.outcome == "finding"} == SMALL[name]
