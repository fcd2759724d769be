"""Expressions: what they give, what they refuse, and that no text can hurt."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from toy import NAMES, UNKNOWN, Box, checked, mistake, value

from netcheck.ground.yamltext import Text as Scalar
from netcheck.language.expression import WordTable
from netcheck.language.scope import Scope, TooManySteps, Trace
from netcheck.language.values import Lot, Perhaps, Unknown


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2 + 3 * 4", 14),
        ("2 ** 3 ** 2", 512),
        ("-2 ** 2", -4),
        ("7 % 4", 3),
        ("box.ohms >= least", True),
        ("0 < box.ohms < open", True),
        ("box.ohms == open", False),
        ("box.colour == 'red'", True),
        ("box.colour in ['red', 'blue']", True),
        ("box.inside is nothing", True),
        ("box.inside is not nothing", False),
        ("1 if sure else 2", 1),
        ("double(3)", 6),
        ("count(boxes)", 2),
        ("count(b for b in boxes if b.colour == 'blue')", 1),
        ("any(b for b in boxes)", True),
        ("least * share / least", 1),
        ("box in boxes", True),
        ("no or yes and not no", True),
    ],
)
def test_what_expressions_give(text: str, expected: object) -> None:
    assert value(text) == expected


def test_a_decided_side_wins_over_an_unknown_one() -> None:
    assert value("maybe and no") is False
    assert value("maybe or yes") is True
    assert value("maybe and yes") == Unknown(("nobody said",))
    assert value("not maybe") == Unknown(("nobody said",))


def test_bounds_decide_comparisons() -> None:
    assert value("total(b.ohms for b in boxes) >= least") is True  # 10 ohm and an unknown one
    assert value("total(b.ohms for b in boxes) <= least") is False
    found = value("least(b.ohms for b in boxes) >= least")
    assert isinstance(found, Unknown) and found.reasons == UNKNOWN.reasons


def test_a_let_with_a_for_of_its_own_leaves_the_outer_name_alone() -> None:
    """The name of `let` is evaluated in the middle of a list that uses the same word after 'for'."""
    inner, _ = checked("count(b for b in boxes if b.colour == 'blue')")
    outer, _ = checked("list(b for b in boxes if share == 1 and b.colour == 'red')")
    names = {name: value for name, value in NAMES.items() if name != "share"}
    found = outer.run(Scope(None, names, {"share": inner.run}))
    assert isinstance(found, Lot) and [box.key for box in found.members] == ["B1"]


def test_unsure_members_survive_a_list() -> None:
    """Two sure ones and an unsure one: at least two is certain, at least three is not."""
    boxes = Lot((Box("A"), Box("B")), (Perhaps(Box("C"), ("C has no value",)),))
    assert value("count(list(b for b in boxes)) >= 2", boxes=boxes) is True
    assert value("count(list(b for b in boxes)) >= 3", boxes=boxes) == Unknown(("C has no value",))
    assert value("count(list(b for b in boxes)) >= 4", boxes=boxes) is False


def test_an_unknown_filter_makes_a_member_unsure() -> None:
    found = value("list(b for b in boxes if b.ohms > least)")
    assert isinstance(found, Lot)
    assert [box.key for box in found.members] == ["B1"]
    assert found.perhaps[0].reasons == UNKNOWN.reasons


def test_what_is_made_of_nothing_is_unknown() -> None:
    assert value("box.inside.ohms") == Unknown(("there is no box.inside",))
    assert value("known(box.inside.ohms)") is False
    assert isinstance(value("most(b.ohms for b in boxes if b.colour == 'red' and no) > least"), Unknown)


def test_division_by_zero_is_unknown() -> None:
    assert isinstance(value("1 / (share - 1)"), Unknown)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("box.omhs > least", "a box has no 'omhs'; did you mean 'ohms'?"),
        ("resistence(box)", "'resistence' is not a function"),
        ("volts > least", "volts is in volts, least is in ohms; they cannot be compared"),
        ("volts + least > volts", "they cannot be added or subtracted"),
        ("box.ohms > 5", "5 has no unit: give it a name under limits"),
        ("5 < box.ohms", "5 has no unit: give it a name under limits"),
        ("box.ohms + 1 > least", "1 has no unit"),
        ("box.colour == 'rde'", "box.colour is never 'rde'; did you mean 'red'?"),
        ("box.colour in ['red', 'bleu']", "never 'bleu'"),
        ("bx.ohms", "there is no name 'bx'; did you mean 'box'?"),
        ("boxes.ohms > least", "take its members one by one with 'for'"),
        ("box and yes", "yes or no is expected here"),
        ("[b for b in boxes]", "write list("),
        ("lambda: 1", "there are no functions of your own"),
        ("boxes[0]", "there are no subscripts"),
        ("f'{box}'", "there is no text building"),
        ("box.ohms >", "this is not an expression"),
        ("(box.ohms", "this is not an expression: '(' was never closed"),
        ("box.ohms = least", "this is not an expression"),
        ("True", "write yes instead of True"),
        ("box is box", "only for nothing"),
        ("2 ** 100", "larger than 64"),
        ("any(b for b in boxes for c in boxes for d in boxes)", "at most 2 'for'"),
        ("count(box for box in boxes)", "the name 'box' is taken"),
        ("double(box)", "double wants a number here"),
        ("double(1, 2)", "takes at most 1"),
        ("double()", "also wants 'x'"),
        ("box.__class__", "a box has no '__class__'"),
        ("().__class__", "write a list"),
        ("box.label.upper()", "only the listed functions can be called"),
    ],
)
def test_mistakes_are_told_with_the_nearest_right_name(text: str, said: str) -> None:
    assert said in mistake(text)


def test_a_mistake_has_its_column() -> None:
    assert mistake("box.ohms >= lest").startswith("t.yaml:1:13: there is no name 'lest'")


def test_every_mistake_of_an_expression_is_told() -> None:
    _, mistakes = checked("box.omhs > least and bx.colour == 'red'")
    assert len(mistakes) == 2


def test_a_table_gives_a_word_and_knows_its_words() -> None:
    table = WordTable("size", ("b",), ((Scalar("b.ohms > least", 1, 1), "large"), (None, "small")))
    expression, mistakes = checked("size(box) == 'large'", {"size": table})
    assert not mistakes
    assert expression.run(Scope(None, dict(NAMES))) is True
    _, mistakes = checked("size(box) == 'huge'", {"size": table})
    assert "never 'huge'" in mistakes[0].what


def test_a_table_whose_row_cannot_be_decided_is_unknown_unless_all_rows_left_say_the_same() -> None:
    rows = ((Scalar("b.ohms > least", 1, 1), "large"), (None, "small"))
    expression, _ = checked("size(box)", {"size": WordTable("size", ("b",), rows)})
    assert isinstance(expression.run(Scope(None, {**NAMES, "box": Box("X", UNKNOWN)})), Unknown)
    same = ((Scalar("b.ohms > least", 1, 1), "small"), (None, "small"))
    expression, _ = checked("size(box)", {"size": WordTable("size", ("b",), same)})
    assert expression.run(Scope(None, {**NAMES, "box": Box("X", UNKNOWN)})) == "small"


def test_work_is_bounded() -> None:
    expression, _ = checked("count(a for a in boxes for b in boxes)")
    many = Lot(tuple(Box(f"B{number}") for number in range(9000)))
    with pytest.raises(TooManySteps):
        expression.run(Scope(None, {**NAMES, "boxes": many}))
    assert Trace().steps == 0


@pytest.mark.parametrize(
    "text", ["(" * 500, "not " * 300 + "yes", "1+" * 400 + "1", "-" * 900 + "1", "x" * 5000, "\0", ""]
)
def test_deep_and_long_texts_are_refused(text: str) -> None:
    assert mistake(text)


PIECES = """box boxes least volts maybe sure .ohms .colour .inside + - * / ** > == and or not if else for in is nothing
open yes ( ) [ ] 'red' 1 0 count( any( total( b known( double( , lambda {{ # ' \\ é"""
WORDS = st.sampled_from([*PIECES.split(), "\n"])


@settings(max_examples=400, deadline=None)
@given(st.lists(WORDS, max_size=14).map(" ".join))
def test_no_text_makes_a_traceback(text: str) -> None:
    expression, mistakes = checked(text)
    if mistakes:
        assert all(str(mistake.problem("t.yaml")).startswith("t.yaml") for mistake in mistakes)
        return
    try:
        found = expression.run(Scope(None, dict(NAMES)))
    except TooManySteps:
        return
    assert not (isinstance(found, float) and math.isnan(found))


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=60))
def test_any_text_at_all_is_an_expression_or_a_mistake(text: str) -> None:
    expression, mistakes = checked(text)
    assert mistakes or expression.type is not None
