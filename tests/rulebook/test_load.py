"""Loading rules: what the loader says, with places, all mistakes of a file together."""

from __future__ import annotations

from pathlib import Path

import pytest

from netcheck.ground.problems import Refused
from netcheck.rulebook.book import load_rule_book, supplied_folder
from netcheck.rulebook.load import load_rule

GOOD = """\
rule: ours/led-resistor
title: An LED has a resistor
consequence: damage
cure: board
why: Without one its current is not limited.
remedy: Put {{least}} or more in series with {{led}}.
sources:
  - {text: a habit, status: common practice, for: [least]}
for each: led
limits: {least: 100 ohm}
let:
  suitable: list(p for p in parts_on(led.anode, ['resistor']) if p.ohms >= least)
require:
  - that: count(suitable) > 0
    else: "{{led}} has only {{suitable}} on its anode."
samples:
  - title: none
    expect: finding
    at: [D1]
    says: has only none
    circuit: |
      D1 led a=+5V k=GND
  - title: one
    expect: clear
    circuit: |
      D1 led a=A k=GND
      R1 1k +5V A
  - title: no value
    expect: undecided
    at: [D1]
    says: R1 has the value 'TBD'
    circuit: |
      D1 led a=A k=GND
      R1 TBD +5V A
"""


def told(tmp_path: Path, book, text: str) -> list[str]:
    """What the loader says of a rule text."""
    (tmp_path / "ours").mkdir(exist_ok=True)
    path = tmp_path / "ours" / "led-resistor.yaml"
    path.write_text(text, encoding="utf-8")
    try:
        load_rule(path, "led.yaml", book.words, book.vocabulary, supplied=False)
    except Refused as refused:
        return [str(problem) for problem in refused.problems]
    return []


def test_a_good_rule_is_silent(tmp_path: Path, book) -> None:
    assert told(tmp_path, book, GOOD) == []


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("consequence:", "consequense:", "led.yaml:3:1: unknown key 'consequense'; did you mean 'consequence'?"),
        ("damage", "damge", "led.yaml:3:14: 'damge' is not one of the words for this place; did you mean 'damage'?"),
        ("for each: led", "for each: lde", "led.yaml:9:11: 'lde' is no noun, kind or shape; did you mean 'led'?"),
        ("led.anode", "led.emitter", "a led has no 'emitter'"),
        ("p.ohms >= least", "p.ohms >= 100", "100 has no unit: give it a name under limits"),
        ("100 ohm", "4k7", "write it out"),
        ("100 ohm", "5 V", "they cannot be compared"),
        ("for: [least]", "for: []", "limit 'least' has no source; add it to the for: of one"),
        ("for: [least]", "for: [leest]", "there is no limit 'leest'; did you mean 'least'?"),
        ("['resistor']", "['resister']", "with a word that is not on the list"),
        ("parts_on", "parts_an", "'parts_an' is not a function; did you mean 'parts_on'?"),
        ("expect: clear", "expect: undecided", "no sample expects 'clear'; a rule needs one of each"),
        ("status: common practice", "status: rumour", "'rumour' is not one of the words for this place"),
        ("rule: ours/led-resistor", "rule: ours/led", "the rule is called 'ours/led' but its file ours/led-resistor"),
        ("{{suitable}}", "{{suitable", "a pair of braces is not closed"),
        ("that: count(suitable) > 0", "that: count(suitable)", "yes or no is expected here"),
        ("let:", "let:\n  led: 1 > 0", "the name 'led' is taken already"),
        ("let:", "let:\n  loop: loop > 0", "'loop' is defined by itself"),
        ("title: An LED", "title: &x An LED", "an anchor (&name) is not allowed here"),
        ("    says: has only none\n", "", "a sample that expects 'finding' needs says: some words of the sentence"),
    ],
)
def test_mistakes_are_told_with_their_place(tmp_path: Path, book, old: str, new: str, said: str) -> None:
    assert old in GOOD
    found = told(tmp_path, book, GOOD.replace(old, new, 1))
    assert any(said in line for line in found), found


def test_all_mistakes_of_a_file_are_told_together(tmp_path: Path, book) -> None:
    text = GOOD.replace("damage", "damge").replace("led.anode", "led.anodd").replace("100 ohm", "100 ohms")
    found = told(tmp_path, book, text)
    assert len(found) >= 3


def test_an_expression_that_yaml_took_apart_is_recognised(tmp_path: Path, book) -> None:
    text = GOOD.replace(
        '  - that: count(suitable) > 0\n    else: "{{led}} has only {{suitable}} on its anode."',
        "  - {that: resistance(led.anode, led.cathode) > least, else: none}",
    )
    assert any("put the expression in quotes or on a line of its own" in line for line in told(tmp_path, book, text))


def test_an_expression_that_begins_with_a_quotation_mark_is_recognised(tmp_path: Path, book) -> None:
    text = GOOD.replace("  - that: count(suitable) > 0", "  - that: 'led' == led.kind")
    assert any("put the whole of it in double quotes" in line for line in told(tmp_path, book, text))


def test_a_house_rule_needs_a_name_of_its_own_or_says_whose_place_it_takes(tmp_path: Path) -> None:
    supplied = supplied_folder() / "signal" / "spare-amplifiers.yaml"
    folder = tmp_path / "house" / "signal"
    folder.mkdir(parents=True)
    text = supplied.read_text(encoding="utf-8")
    (folder / "spare-amplifiers.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(Refused, match="is taken by"):
        load_rule_book(house=[tmp_path / "house"])
    said = text.replace(
        "rule: signal/spare-amplifiers", "rule: signal/spare-amplifiers\ninstead of: signal/spare-amplifiers"
    )
    (folder / "spare-amplifiers.yaml").write_text(said, encoding="utf-8")
    book = load_rule_book(house=[tmp_path / "house"])
    rule = book.rule("signal/spare-amplifiers")
    assert rule is not None and not rule.supplied
    assert "signal/spare-amplifiers" in book.replaced


def test_a_rule_book_found_sound_once_judges_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Rules whose expressions are built later say what they said before, word for word."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    first = load_rule_book(with_samples=False)
    second = load_rule_book(with_samples=False)
    assert first.rules[0].samples and not second.rules[0].samples
    assert first.rules[0].where is not second.rules[0].where
    for mine, other in zip(first.rules, second.rules, strict=True):
        assert (mine.name, mine.limits, mine.known_by, mine.shapes) == (
            other.name, other.limits, other.known_by, other.shapes
        )  # fmt: skip
        pairs = [*zip(mine.where, other.where, strict=True)]
        pairs += [(a.that, b.that) for a, b in zip(mine.requirements, other.requirements, strict=True)]
        pairs += [(let, other.let[name]) for name, let in mine.let.items()]
        assert all((a.source, str(a.type), a.names) == (b.source, str(b.type), b.names) for a, b in pairs), mine.name


def test_a_mistake_is_told_however_often_the_book_is_loaded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    house = tmp_path / "house" / "ours"
    house.mkdir(parents=True)
    (house / "led-resistor.yaml").write_text(GOOD, encoding="utf-8")
    load_rule_book(house=(tmp_path / "house",), with_samples=False)
    load_rule_book(house=(tmp_path / "house",), with_samples=False)
    (house / "led-resistor.yaml").write_text(GOOD.replace("parts_on", "parts_no"), encoding="utf-8")
    for _ in range(2):
        with pytest.raises(Refused, match="parts_no"):
            load_rule_book(house=(tmp_path / "house",), with_samples=False)
