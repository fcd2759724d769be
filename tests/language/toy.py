"""A vocabulary of boxes with weights, to try the language without any circuit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from netcheck.ground.units import OHM, PLAIN, VOLT
from netcheck.ground.yamltext import Text as Scalar
from netcheck.language.expression import Environment, Expression, WordTable, check
from netcheck.language.scope import Scope
from netcheck.language.syntax import Mistake
from netcheck.language.types import Attribute, Function, ListOf, Number, Parameter, Text, Thing, Type, Word, YesNo
from netcheck.language.values import Lot, Unknown

BOX = Thing("box")


@dataclass(frozen=True)
class Box:
    key: str
    ohms: object = 1.0
    colour: str = "red"
    inside: Box | None = None


class Toys:
    """Boxes have ohms, a colour and perhaps a box inside."""

    functions: ClassVar = {
        "double": Function(
            "double",
            (Parameter("x", lambda kind: isinstance(kind, Number), "a number"),),
            lambda types, named: types[0],
            lambda facts, trace, x: 2 * x,
            "twice",
        )
    }

    def attributes(self, thing: Thing) -> dict[str, Attribute]:
        return {
            "ohms": Attribute(Number(OHM), lambda facts, box: box.ohms),
            "colour": Attribute(Word(frozenset({"red", "blue"})), lambda facts, box: box.colour),
            "inside": Attribute(BOX, lambda facts, box: box.inside),
            "label": Attribute(Text(), lambda facts, box: box.key),
            "open": Attribute(YesNo(), lambda facts, box: True),
        }

    def shown(self, facts: object, value: object) -> str:
        return value.key if isinstance(value, Box) else str(value)

    def key_of(self, value: object) -> str | None:
        return getattr(value, "key", None)


TYPES: dict[str, Type] = {
    "box": BOX,
    "boxes": ListOf(BOX),
    "least": Number(OHM),
    "volts": Number(VOLT),
    "share": Number(PLAIN),
    "maybe": YesNo(),
    "sure": YesNo(),
    "word": Word(frozenset({"one", "two"})),
}

UNKNOWN = Unknown(("R1 has the value 'TBD'",), 0.0, None)
NAMES: dict[str, object] = {
    "box": Box("B1", 10.0),
    "boxes": Lot((Box("B1", 10.0), Box("B2", UNKNOWN, "blue"))),
    "least": 4.7,
    "volts": 15.0,
    "share": 1.0,
    "maybe": Unknown(("nobody said",)),
    "sure": True,
    "word": "one",
}


def checked(text: str, tables: dict[str, WordTable] | None = None) -> tuple[Expression, list[Mistake]]:
    """An expression checked against the toys, and the mistakes in it."""
    environment = Environment(Toys(), TYPES.get, lambda: frozenset(TYPES), tables or {})
    return check(Scalar(text, 1, 1), environment), environment.mistakes


def value(text: str, **names: object) -> object:
    """What an expression gives."""
    expression, mistakes = checked(text)
    assert not mistakes, mistakes
    return expression.run(Scope(None, {**NAMES, **names}))


def mistake(text: str) -> str:
    """The first mistake in an expression, as a person sees it."""
    _, mistakes = checked(text)
    assert mistakes, f"no mistake found in {text}"
    return str(mistakes[0].problem("t.yaml"))
