"""Loops that end early, and loops over long lists that are remembered: less work, the same answers and evidence."""

from __future__ import annotations

import pytest
from toy import TYPES, Box, Toys

from netcheck.ground.yamltext import Text as Scalar
from netcheck.language.expression import Environment, Expression, WordTable, check
from netcheck.language.memory import LONG
from netcheck.language.scope import MOST_STEPS, Scope, TooManySteps
from netcheck.language.types import Attribute, Number, Thing
from netcheck.language.values import Kept, Lot, Unknown

NUMBER = 4 * LONG
MANY = Kept(tuple(Box(f"B{n}", float(n)) for n in range(NUMBER)))


class Facts:
    """Something that can be referred to weakly, as the facts of a circuit can."""


class Counting(Toys):
    """Counts how often somebody asks for ohms."""

    def __init__(self) -> None:
        self.asked = 0

    def attributes(self, thing: Thing) -> dict[str, Attribute]:
        found = super().attributes(thing)
        unit = found["ohms"].type
        assert isinstance(unit, Number)

        def ohms(facts: object, box: object) -> object:
            self.asked += 1
            assert isinstance(box, Box)
            return box.ohms

        return {**found, "ohms": Attribute(unit, ohms)}


def built(text: str, tables: dict[str, WordTable] | None = None) -> tuple[Expression, Counting]:
    toys = Counting()
    environment = Environment(toys, TYPES.get, lambda: frozenset(TYPES), tables or {})
    expression = check(Scalar(text, 1, 1), environment)
    assert not environment.mistakes, environment.mistakes
    return expression, toys


def scope(facts: object, boxes: Lot = MANY, least: object = 1e9) -> Scope:
    return Scope(facts, {"boxes": boxes, "least": least, "box": Box("B7", 7.0), "maybe": Unknown(("nobody said",))})


def test_any_stops_at_the_first_sure_yes() -> None:
    expression, toys = built("any(b.ohms >= least for b in boxes)")
    assert expression.run(scope(None, least=3.0)) is True
    assert toys.asked == 4


def test_all_stops_at_the_first_sure_no() -> None:
    expression, toys = built("all(b.ohms < least for b in boxes)")
    assert expression.run(scope(None, least=3.0)) is False
    assert toys.asked == 4


def test_an_unsure_yes_does_not_stop_anything() -> None:
    expression, toys = built("any(b.ohms >= least for b in boxes if maybe)")
    assert isinstance(expression.run(scope(None, least=3.0)), Unknown)
    assert toys.asked == NUMBER


def test_stopping_early_leaves_no_name_behind() -> None:
    expression, _ = built("any(b.ohms >= least for b in boxes)")
    where = scope(None, least=3.0)
    expression.run(where)
    assert "b" not in where.names


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("any(b.ohms > least for b in boxes)", False),
        ("all(b.ohms < least for b in boxes)", True),
        ("count(b for b in boxes if b.ohms > least)", 0.0),
        ("any(c.ohms > least for b in boxes if b == box for c in boxes)", False),
    ],
)
def test_a_long_list_is_looked_through_once(text: str, expected: object) -> None:
    expression, toys = built(text)
    facts = Facts()
    assert [expression.run(scope(facts)) for _ in range(5)] == [expected] * 5
    assert toys.asked == NUMBER


def test_what_is_remembered_gives_the_same_evidence_and_costs_hardly_a_step() -> None:
    expression, _ = built("any(b.ohms > least for b in boxes)")
    first, again = scope(facts := Facts()), scope(facts)
    expression.run(first)
    expression.run(again)
    assert list(again.trace.evidence) == list(first.trace.evidence) and len(first.trace.evidence) == NUMBER
    assert again.trace.steps < 10 < first.trace.steps


def test_other_values_are_looked_at_anew() -> None:
    expression, _ = built("any(b.ohms > least for b in boxes)")
    facts = Facts()
    assert [expression.run(scope(facts, least=least)) for least in (1e9, 5.0, 1e9)] == [False, True, False]
    other = Kept(tuple(Box(f"C{n}", 1e12) for n in range(NUMBER)))
    assert expression.run(scope(facts, other)) is True
    assert expression.run(scope(Facts(), MANY)) is False


def test_an_unknown_name_is_not_remembered() -> None:
    expression, _ = built("any(b.ohms > least for b in boxes)")
    facts = Facts()
    for reason in ("R1 has no value", "R2 has no value"):
        assert expression.run(scope(facts, least=Unknown((reason,)))) == Unknown((reason,))


def test_a_list_that_is_made_anew_is_not_remembered() -> None:
    expression, toys = built("any(b.ohms > least for b in boxes)")
    facts = Facts()
    for _ in range(2):
        expression.run(scope(facts, Lot(MANY.members)))
    assert toys.asked == 2 * NUMBER


def test_a_table_inside_is_asked_every_time() -> None:
    """A table may use names that the loop does not show."""
    table = WordTable("size", ("x",), ((Scalar("x > least", 1, 1), "large"), (None, "small")))
    expression, _ = built("any(size(b.ohms) == 'large' for b in boxes)", {"size": table})
    facts = Facts()
    assert [expression.run(scope(facts, least=least)) for least in (1e9, 5.0)] == [False, True]


def test_too_much_work_leaves_the_trace_in_its_place() -> None:
    expression, _ = built("any(b.ohms > least for b in boxes)")
    where = scope(Facts())
    trace = where.trace
    trace.steps = MOST_STEPS - LONG
    with pytest.raises(TooManySteps):
        expression.run(where)
    assert where.trace is trace
