"""Sentences with {{ expressions }}: the same language, checked when the rule is loaded."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from netcheck.ground.names import plain, spoken_list
from netcheck.ground.units import PLAIN, show
from netcheck.ground.yamltext import Text as Scalar
from netcheck.language.expression import Check, Environment, Expression, check
from netcheck.language.scope import Scope
from netcheck.language.syntax import Mistake
from netcheck.language.types import Anything, ListOf, Number, Type, Vocabulary
from netcheck.language.values import Lot, Unknown

_BRACES = re.compile(r"\{\{(.*?)\}\}", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Sentence:
    """A text with expressions in it."""

    pieces: tuple[str | Expression, ...]
    vocabulary: Vocabulary

    def say(self, scope: Scope) -> str:
        """The sentence for one subject."""
        said = [
            piece if isinstance(piece, str) else shown(piece.run(scope), piece.type, self.vocabulary, scope.facts)
            for piece in self.pieces
        ]
        return " ".join("".join(said).split())


def check_sentence(source: Scalar, environment: Environment, checked: Check = check) -> Sentence:
    """A sentence with its expressions checked, now or later; mistakes go to the environment."""
    pieces: list[str | Expression] = []
    at = 0
    for found in _BRACES.finditer(source.text):
        pieces.append(source.text[at : found.start()])
        pieces.append(checked(source, environment, found[1], found.start(1)))
        at = found.end()
    rest = source.text[at:]
    if "{{" in rest or "}}" in rest:
        brace = at + (rest.find("{{") if "{{" in rest else rest.find("}}"))
        environment.mistakes.append(Mistake(source, brace, "a pair of braces is not closed: write {{ expression }}"))
    pieces.append(rest)
    return Sentence(tuple(piece for piece in pieces if piece != ""), environment.vocabulary)


def shown(value: object, kind: Type, vocabulary: Vocabulary, facts: object) -> str:
    """How any value of the language is printed.

    A quantity with its unit, a thing by its name, a list as people list things; an unknown number by its bounds where
    it has both ("10 µF to 22 µF"), anything else unknown by its reasons.
    """
    item = kind.item if isinstance(kind, ListOf) else Anything()
    plainly: Callable[[object], str] = lambda one: shown(one, item, vocabulary, facts)  # noqa: E731
    if isinstance(value, Unknown):
        if isinstance(kind, Number) and value.low is not None and value.high is not None:
            return f"{show(value.low, kind.unit)} to {show(value.high, kind.unit)}"
        return f"not known ({'; '.join(value.reasons)})"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return show(float(value), kind.unit if isinstance(kind, Number) else PLAIN)
    if isinstance(value, str):
        return plain(value)
    if value is None:
        return "nothing"
    if isinstance(value, Lot):
        return spoken_list(
            [plainly(member) for member in value.members] + [f"perhaps {plainly(p.member)}" for p in value.perhaps]
        )
    return vocabulary.shown(facts, value)
