"""Static types of the language: what an expression can give, with units and closed lists of words.

A vocabulary (see `Vocabulary`) hands in the nouns, attributes and functions; nothing here knows any by name.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from netcheck.ground.units import Unit


@dataclass(frozen=True, slots=True)
class Number:
    """A number with a unit. `literal`: written in the rule, so it must not be compared with a quantity."""

    unit: Unit
    literal: bool = False
    zero: bool = False

    def __str__(self) -> str:
        return self.unit.name


@dataclass(frozen=True, slots=True)
class YesNo:
    """yes or no."""

    def __str__(self) -> str:
        return "yes or no"


@dataclass(frozen=True, slots=True)
class Text:
    """Free text, such as a value or a footprint. `literal`: written in the rule, in single quotes."""

    literal: str | None = None

    def __str__(self) -> str:
        return "a text"


@dataclass(frozen=True, slots=True)
class Word:
    """A word out of a closed list."""

    words: frozenset[str]

    def __str__(self) -> str:
        return "a word"


@dataclass(frozen=True, slots=True)
class Thing:
    """An object of the circuit, by its noun. `kinds` narrows a part to certain kinds (None: any)."""

    noun: str
    kinds: frozenset[str] | None = None

    def __str__(self) -> str:
        article = "an" if self.noun[0] in "aeiou" else "a"
        return f"{article} {self.noun}"


@dataclass(frozen=True, slots=True)
class ListOf:
    """A list of things of one type."""

    item: Type

    def __str__(self) -> str:
        return "a list"


@dataclass(frozen=True, slots=True)
class Nothing:
    """Only `nothing`."""

    def __str__(self) -> str:
        return "nothing"


@dataclass(frozen=True, slots=True)
class Anything:
    """The type of what was already reported as a mistake; fits everywhere."""

    def __str__(self) -> str:
        return "anything"


Type = Number | YesNo | Text | Word | Thing | ListOf | Nothing | Anything


@dataclass(frozen=True, slots=True)
class Attribute:
    """What stands after a full stop: its type and how it is had from the facts and the object."""

    type: Type
    get: Callable[[object, object], object]


@dataclass(frozen=True, slots=True)
class Parameter:
    """A parameter of a function.

    Attributes:
        name: for keyword use. accepts: whether a type fits. expected: the clause for messages ("a pin or a net").
        needed: may not be left out. unknown_allowed: the function itself deals with unknown and `nothing`.
    """

    name: str
    accepts: Callable[[Type], bool]
    expected: str
    needed: bool = True
    unknown_allowed: bool = False


@dataclass(frozen=True, slots=True)
class Function:
    """A function of the vocabulary.

    Attributes:
        parameters: in order. many: the last parameter may be repeated (min, max).
        keywords: further names may be given as keywords (a name of a shape).
        result: the type for given argument types and the texts of literal arguments; a string is a mistake.
        call: gets the facts, the trace and the arguments, in order; None for those left out.
        about: one line for `netcheck explain words`.
    """

    name: str
    parameters: tuple[Parameter, ...]
    result: Callable[[Sequence[Type], Mapping[str, Type]], Type | str]
    call: Callable[..., object]
    about: str
    many: bool = False
    keywords: bool = False


class Vocabulary(Protocol):
    """The words that rules may use beside their own names."""

    @property
    def functions(self) -> Mapping[str, Function]:
        """By name."""

    def attributes(self, thing: Thing) -> Mapping[str, Attribute]:
        """The attributes of a noun; of a part narrowed to kinds, those that any of the kinds has."""

    def shown(self, facts: object, value: object) -> str:
        """How an object of the circuit names itself in a sentence."""

    def key_of(self, value: object) -> str | None:
        """The key of an object of the circuit, which tells it apart; None for what has no key."""


def fits(found: Type, wanted: Type) -> bool:
    """Whether a value of one type can stand where the other is expected."""
    if isinstance(found, Anything) or isinstance(wanted, Anything):
        return True
    if isinstance(found, Number) and isinstance(wanted, Number):
        return found.unit == wanted.unit or found.zero
    if isinstance(wanted, Word | Text) and isinstance(found, Word | Text):
        return True
    if isinstance(found, ListOf) and isinstance(wanted, ListOf):
        return fits(found.item, wanted.item)
    if isinstance(found, Thing) and isinstance(wanted, Thing):
        return found.noun == wanted.noun
    return type(found) is type(wanted)


def joined(one: Type, other: Type) -> Type | None:
    """The type of a value that is of one or the other type, or None when they do not go together."""
    if isinstance(one, Anything | Nothing):
        return other
    if isinstance(other, Anything | Nothing):
        return one
    if isinstance(one, Number) and isinstance(other, Number):
        if one.unit != other.unit and not (one.zero or other.zero):
            return None
        unit = other.unit if one.zero else one.unit
        return Number(unit, one.literal and other.literal, one.zero and other.zero)
    if isinstance(one, ListOf) and isinstance(other, ListOf):
        item = joined(one.item, other.item)
        return ListOf(item) if item is not None else None
    if isinstance(one, Thing) and isinstance(other, Thing) and one.noun == other.noun:
        both = one.kinds is not None and other.kinds is not None
        return Thing(one.noun, (one.kinds or frozenset()) | (other.kinds or frozenset()) if both else None)
    if isinstance(one, Word | Text) and isinstance(other, Word | Text):
        words = [word_set(one), word_set(other)]
        if words[0] is not None and words[1] is not None:
            return Word(words[0] | words[1])
        return Text()
    return one if type(one) is type(other) else None


def word_set(found: Type) -> frozenset[str] | None:
    """The closed list of a word or of a literal text; None for free text."""
    if isinstance(found, Word):
        return found.words
    if isinstance(found, Text) and found.literal is not None:
        return frozenset({found.literal})
    return None
