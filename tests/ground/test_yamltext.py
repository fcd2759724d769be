"""YAML with places: what is read, what is refused, by either of the two parsers."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.ground import yamltext
from netcheck.ground.problems import Refused
from netcheck.ground.units import OHM, VOLT
from netcheck.ground.yamltext import (
    MOST_LEVELS,
    Items,
    Reader,
    Table,
    Text,
    load,
    looks_like_split_expression,
)


@pytest.fixture(params=["in C", "in Python"], autouse=True)
def parser(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """Each test runs with the parser in C (where installed) and with the one in Python."""
    if request.param == "in Python":
        monkeypatch.setattr(yamltext, "_loader", lambda: yaml.SafeLoader)
    elif not hasattr(yaml, "CSafeLoader"):
        pytest.skip("PyYAML was built without its parser in C")
    yield request.param


def refusal(text: str) -> str:
    with pytest.raises(Refused) as caught:
        load(text, "a.yaml")
    assert len(caught.value.problems) == 1
    return str(caught.value)


def table(text: str) -> Table:
    node = load(text, "a.yaml")
    assert isinstance(node, Table)
    return node


@pytest.mark.parametrize("word", ["on", "no", "012", "1e3", "1.10", "+5", "0x1F", "null", "~", "2026-01-01", "1:30"])
def test_a_scalar_is_its_text_as_key_and_as_value(word: str) -> None:
    assert table(f"a: {word}").get("a") == Text(word, 1, 4)
    assert table(f"{word}: a").keys() == (word,)


def test_every_node_has_its_place_and_every_scalar_its_style() -> None:
    node = table("a: plain\nb:\n  - 'single'\n  - \"double\"\nc: |\n  block\nd: >\n  folded\ne:\n")
    assert node.get("a") == Text("plain", 1, 4, "plain")
    items = node.get("b")
    assert isinstance(items, Items)
    assert (items.line, items.column) == (3, 3)
    assert items.nodes == (Text("single", 3, 5, "quoted"), Text("double", 4, 5, "quoted"))
    assert node.get("c") == Text("block\n", 5, 4, "block")
    assert node.get("d") == Text("folded\n", 7, 4, "block")
    empty = node.get("e")
    assert isinstance(empty, Text) and (empty.text, empty.style) == ("", "plain")


def test_a_byte_order_mark_and_dos_line_ends_do_not_matter() -> None:
    node = table("\ufeffa: 1\r\nb: 2\r\n")
    assert node.get("b") == Text("2", 2, 4)
    assert node.keys() == ("a", "b")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("a: &x 1", "a.yaml:1:4: an anchor"),
        ("a: &x [1]", "a.yaml:1:4: an anchor"),
        ("a: 1\nb: *a", "a.yaml:2:4: an alias"),
        ("a: !!python/object:os.system 1", "a.yaml:1:4: a tag"),
        ("a: !x 1", "a.yaml:1:4: a tag"),
        ("a: ! 1", "a.yaml:1:4: a tag"),
        ("--- a\n--- b", "a.yaml:2:1: a second document"),
        ("a: 1\nb: 2\na: 3", "a.yaml:3:1: the key 'a' stands here twice"),
        ("x:\n  - {a: 1, a: 2}", "a.yaml:2:12: the key 'a' stands here twice"),
        ("? [a]\n: b", "a.yaml:1:3: a key must be plain text"),
        ("", "a.yaml: the file is empty"),
        ("# only a comment\n", "a.yaml: the file is empty"),
        ("a: [1, 2", "a.yaml:"),
        ("a: b: c", "a.yaml:1:5: this is not YAML"),
        ("a: 1\n\tb: 2", "a.yaml:2:"),
        ("a: 1\nb: \x00", "a.yaml:2:4: a character that YAML forbids"),
        ("a: 1\nb: \x1b[2J", "a.yaml:2:4: a character that YAML forbids"),
        ("a: \ud800", "a.yaml:1:4: half a surrogate pair"),
        ("a: '" + "x" * 1_000_000, "larger than 1 MB"),
        ("a: '" + "ä" * 500_000, "larger than 1 MB"),
    ],
)
def test_what_is_not_allowed_is_refused_with_its_place(text: str, says: str) -> None:
    assert says in refusal(text)


@pytest.mark.parametrize("bomb", ["[" * 5000, "{a: " * 5000, "- " * 5000, "[" * 41 + "]" * 41, "? " * 3000])
def test_a_nesting_bomb_is_refused_before_anything_is_built(bomb: str) -> None:
    said = refusal(bomb)
    assert f"nested deeper than {MOST_LEVELS} levels" in said or "not YAML" in said


def test_forty_levels_are_still_read() -> None:
    node = load("[" * MOST_LEVELS + "x" + "]" * MOST_LEVELS, "a.yaml")
    for _ in range(MOST_LEVELS):
        assert isinstance(node, Items)
        (node,) = node.nodes
    assert isinstance(node, Text) and node.text == "x"


def test_a_parser_that_runs_out_of_depth_is_a_refusal_too(monkeypatch: pytest.MonkeyPatch) -> None:
    def deep(text: str) -> yaml.SafeLoader:
        raise RecursionError

    monkeypatch.setattr(yamltext, "_loader", lambda: deep)
    assert "nested deeper" in refusal("a: 1")


def test_a_message_shows_control_marks_instead_of_obeying_them() -> None:
    said = refusal('"a\\u202e": 1\n"a\\u202e": 2')
    assert "<U+202E>" in said and "\u202e" not in said


@given(st.text(alphabet="ab:-[]{},&*!|>'\"%@?#\n\t 1é\u202e\x07", max_size=60))
@settings(max_examples=150, deadline=None)
def test_any_text_is_read_or_refused(text: str) -> None:
    for loader in {yaml.SafeLoader, getattr(yaml, "CSafeLoader", yaml.SafeLoader)}:
        before, yamltext._loader = yamltext._loader, lambda loader=loader: loader
        try:
            assert isinstance(load(text, "a.yaml"), Text | Items | Table)
        except Refused as refused:
            assert refused.problems[0].file == "a.yaml"
        finally:
            yamltext._loader = before


@pytest.mark.parametrize(
    ("text", "split"),
    [
        ("{if: resistance(a, b) > 1, then: x}", True),
        ("{that: any(x for x in capacitors(a, b)), else: no}", True),
        ("[resistance(a, b) > 1]", True),
        ("{if: 'resistance(a, b) > 1', then: x}", False),
        ('{if: "resistance(a, b) > 1", then: x}', False),
        ("if: resistance(a, b) > 1\nthen: x", False),
        ("{if: known(a), then: x}", False),
        ("[known(a), known(b)]", False),
        ("{if: like(x, y) and z == '(', then: x}", True),
        ("{if: z == '(', then: z == ')'}", False),
        ("{title: a smile (, of sorts, then: x}", False),
        ("plain (text", False),
    ],
)
def test_an_expression_that_yaml_took_apart_is_noticed(text: str, split: bool) -> None:
    assert looks_like_split_expression(load(text, "a.yaml")) is split


def test_the_reader_gathers_all_mistakes_of_a_file() -> None:
    node = load("rul: x\nyes: maybe\nr: 5 V\nk: [a]\n", "a.yaml")
    reader = Reader("a.yaml")
    found = reader.table(node, needed=["rule"], allowed=["yes", "r", "k"])
    assert reader.yes_no(found.get("yes")) is None
    assert reader.quantity(found.get("r"), OHM) is None
    assert reader.text(found.get("k")) is None
    with pytest.raises(Refused) as caught:
        reader.finish()
    said = [str(problem) for problem in caught.value.problems]
    assert said == [
        "a.yaml:1:1: the key 'rule' is missing",
        "a.yaml:1:1: unknown key 'rul'; did you mean 'rule'?",
        "a.yaml:2:6: 'maybe' stands here; yes or no is expected",
        "a.yaml:3:4: '5 V' is in volts; ohms are expected here",
        "a.yaml:4:4: a list stands here; one text is expected",
    ]


def test_the_reader_gives_what_is_right_and_then_has_nothing_to_say() -> None:
    node = load("r: 5 V\ny: yes\nf: false\nw: clear\nl: [a, b]\none: a\n", "a.yaml")
    reader = Reader("a.yaml")
    found = reader.table(node, needed=["r", "y"], allowed=["f", "w", "l", "one", "left out"])
    quantity = reader.quantity(found.get("r"), VOLT)
    assert quantity is not None and quantity.value == 5.0
    assert reader.yes_no(found.get("y")) is True
    assert reader.yes_no(found.get("f")) is False
    assert reader.word(found.get("w"), ["finding", "clear"]) == "clear"
    assert reader.list_of(found.get("l"), reader.text) == ("a", "b")
    assert reader.list_of(found.get("one"), reader.text) == ("a",)
    assert reader.text(found.get("left out")) is None
    reader.finish()


def test_a_word_outside_its_list_is_told_the_nearest() -> None:
    reader = Reader("a.yaml")
    assert reader.word(load("fnding", "a.yaml"), ["finding", "clear"]) is None
    assert str(reader.problems[0]) == (
        "a.yaml:1:1: 'fnding' is not one of the words for this place; did you mean 'finding'?"
    )
