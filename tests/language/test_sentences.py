"""Sentences: everything prints itself."""

from __future__ import annotations

from toy import NAMES, TYPES, Box, Toys

from netcheck.ground.yamltext import Text as Scalar
from netcheck.language.expression import Environment
from netcheck.language.scope import Scope
from netcheck.language.sentences import check_sentence
from netcheck.language.values import Lot, Unknown


def said(text: str, **names: object) -> str:
    environment = Environment(Toys(), TYPES.get, lambda: frozenset(TYPES))
    sentence = check_sentence(Scalar(text, 1, 1), environment)
    assert not environment.mistakes
    return sentence.say(Scope(None, {**NAMES, **names}))


def test_quantities_have_their_unit_and_lists_are_spoken() -> None:
    assert said("{{box}} has {{box.ohms}}, at least {{least}}.") == "B1 has 10 Ω, at least 4.7 Ω."
    assert said("{{boxes}}") == "B1 and B2"
    assert said("{{boxes}}", boxes=Lot()) == "none"
    assert said("{{boxes}}", boxes=Lot(tuple(Box(f"B{n}") for n in range(15)))).endswith("and 9 more")


def test_an_unknown_prints_its_reasons() -> None:
    assert said("{{maybe}}") == "not known (nobody said)"


def test_marks_that_turn_the_reading_direction_are_shown() -> None:
    assert "<U+202E>" in said("{{box.label}}", box=Box("R\u202e1"))


def test_an_open_brace_is_a_mistake_with_its_column() -> None:
    environment = Environment(Toys(), TYPES.get, lambda: frozenset(TYPES))
    check_sentence(Scalar("so {{box", 3, 5), environment)
    assert str(environment.mistakes[0].problem("r.yaml")) == (
        "r.yaml:3:8: a pair of braces is not closed: write {{ expression }}"
    )


def test_an_unknown_number_with_both_bounds_prints_these() -> None:
    assert said("{{box.ohms}}", box=Box("B1", Unknown(("it varies",), 10.0, 22.0))) == "10 Ω to 22 Ω"
    assert said("{{box.ohms}}", box=Box("B1", Unknown(("it varies",), 10.0))) == "not known (it varies)"
