"""Clauses, words and their places; damage is told where it begins."""

from __future__ import annotations

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.ground.problems import Problem, Refused
from netcheck.intake import scan as scan_module
from netcheck.intake.scan import Clause, misplaced, scan


def refusal_of(text: str) -> Problem:
    with pytest.raises(Refused) as refusal:
        scan(text, "amp.net")
    (problem,) = refusal.value.problems
    return problem


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        (r"(name CS\)", "CS\\"),
        (r"(name DKE\")", 'DKE"'),
        ("(name QH')", "QH'"),
        (r"(name C:\new\table)", r"C:\new\table"),
        (r'(name "C:\\new\\table")', r"C:\new\table"),
        (r'(name "5\" left")', '5" left'),
        (r'(name "two\nlines")', "two\nlines"),
        (r'(name "odd \q escape")', r"odd \q escape"),
        ('(name "a (b) ((")', "a (b) (("),
        ('(name "" )', ""),
        ("(name)", ""),
        ('(name\n"far"\n)', "far"),
        ("(name 10k log)", "10k log"),
        ('(name "4,7μF Ω （x）")', "4,7μF Ω （x）"),
    ],
)
def test_words_of_every_generation(written: str, meant: str) -> None:
    root, _ = scan(f"(export {written})", "amp.net")
    assert root.text("name") == meant


def test_places_count_lines_in_strings_too() -> None:
    root, _ = scan('(export\n  (a "x\n\ny") (b)\n(c))', "amp.net")
    assert [(inner.name, inner.line, inner.column) for inner in root.clauses] == [("a", 2, 3), ("b", 4, 5), ("c", 5, 1)]


def test_a_truncated_file_is_told_at_the_innermost_parenthesis() -> None:
    problem = refusal_of('(export\n (components\n  (comp (ref R1) (value "1k")')
    assert (problem.line, problem.column) == (3, 3)
    assert problem.what.startswith("this ( is never closed")


def test_a_missing_parenthesis_is_told_at_the_clause_that_swallows_the_next() -> None:
    text = "(export\n (components\n  (comp (ref R1) (value 1k)\n  (comp (ref R2)))\n (nets (net (code 1))))"
    problem = refusal_of(text)
    assert problem.line == 3
    assert "'(comp' of line 4 was found inside it" in problem.what


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("(export)\n)", 2, "closes nothing"),
        ("(export))", 1, "closes nothing"),
        ("(export)\n\n(export)", 3, "a second netlist begins here"),
        ("(export)\nremark (export)", 2, "a second netlist begins here"),
        ("(export (a))\n (b))", 2, "the netlist ended in line 1"),
        ('(export\n (name "abc)\n (value 1k))', 2, "the quote that opens here"),
        ('(export\n (name "abc)\n (value "1k"))', 2, "the quote that opens here"),
        ("", 1, "a netlist begins with"),
        ("word (", 1, "a netlist begins with"),
    ],
)
def test_damage_is_told_with_its_line(text: str, line: int, words: str) -> None:
    problem = refusal_of(text)
    assert problem.line == line
    assert words in problem.what


def test_text_behind_the_last_parenthesis_is_handed_back() -> None:
    assert scan("(export) \n the end \n", "amp.net")[1] == "the end"


def test_a_hundred_thousand_levels_are_refused_at_once() -> None:
    started = time.perf_counter()
    problem = refusal_of("(" * 100_000)
    assert "nested deeper than" in problem.what
    assert time.perf_counter() - started < 0.5


def test_an_open_string_costs_one_pass() -> None:
    started = time.perf_counter()
    refusal_of('(export "' + "\\\\ab" * 500_000)
    assert time.perf_counter() - started < 2


def test_the_number_of_clauses_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scan_module, "MOST_CLAUSES", 10)
    assert "more than 10 clauses" in refusal_of("(export" + "(a)" * 11).what


def test_clauses_that_are_not_known_may_hold_anything() -> None:
    root, _ = scan("(export (variants (comp (net))) (components (comp (ref R1))))", "amp.net")
    assert misplaced(root) is None


@settings(max_examples=300)
@given(st.text(alphabet=st.sampled_from("()\"\\' \nnetcomp0\u00b5"), max_size=60) | st.text(max_size=60))
def test_any_text_is_a_clause_or_refused(text: str) -> None:
    try:
        root, _ = scan(f"(export {text}", "amp.net")
    except Refused as refusal:
        assert len(refusal.problems) == 1
    else:
        assert root.name == "export" or root.name.startswith("export")


names = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
trees = st.recursive(
    st.tuples(names, st.lists(names, max_size=3), st.just([])),
    lambda inner: st.tuples(names, st.lists(names, max_size=3), st.lists(inner, max_size=3)),
    max_leaves=8,
)
Tree = tuple[str, list[str], list["Tree"]]  # type: ignore[misc]


def quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'


def written(tree: Tree) -> str:
    name, texts, inner = tree
    return f"({quoted(name)} {' '.join(map(quoted, texts))} {' '.join(map(written, inner))})"


def shape(clause: Clause) -> Tree:
    return clause.name, clause.texts, [shape(inner) for inner in clause.clauses]


@settings(max_examples=150)
@given(trees)
def test_whatever_was_written_is_read_back(tree: Tree) -> None:
    root, rest = scan(written(tree), "amp.net")
    assert shape(root) == tree
    assert rest == ""
