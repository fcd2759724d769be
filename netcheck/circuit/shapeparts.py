"""What a shape is made of, and what is found when one is looked for."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from netcheck.circuit.model import Amplifier, Part

# A condition or an offer, compiled from an expression by whoever loads shapes: the names of a match -> a value of the
# language. A condition gives yes, no or `Unknown`.
Evaluator = Callable[[Mapping[str, object]], object]
Condition = Evaluator


@dataclass(frozen=True, slots=True)
class PartSlot:
    """A place for a part.

    Attributes:
        name: what the place is called. kinds: that the part may be of; 'amplifier' is one unit of a package.
        shape: name of a shape whose matches fill the place instead of a part. equals: (attribute, word) pairs that
            such a match must have, 'form' among them.
        many: everything that fits is gathered in a list.
    """

    name: str
    kinds: frozenset[str] = frozenset()
    shape: str | None = None
    equals: tuple[tuple[str, str], ...] = ()
    many: bool = False


@dataclass(frozen=True, slots=True)
class NetSlot:
    """A net of which something is asked: its role, its sign ('positive', 'negative', 'not positive' or '')."""

    name: str
    roles: frozenset[str] = frozenset()
    sign: str = ""


@dataclass(frozen=True, slots=True)
class Tie:
    """How a part hangs on nets, or two nets together.

    Attributes:
        way: '=' (a pin is on the net), '~' (the same, or through what may be passed), 'joins' (a two-ended part, either
            way round).
        nets: one name for '=' and '~' of a part; two for 'joins' and for '~' between nets.
        part: name of the part's place; '' between nets. role: of the pin, or what a shape offers.
    """

    way: str
    nets: tuple[str, ...]
    part: str = ""
    role: str = ""


@dataclass(frozen=True, slots=True)
class Passes:
    """What `~` may pass: one part of these kinds with at most so many ohms; a value in doubt passes."""

    kinds: frozenset[str]
    most: float | None = None


@dataclass(frozen=True, slots=True)
class Form:
    """One of several ways in which a shape is drawn, all its parts, nets and ties listed."""

    name: str
    parts: tuple[PartSlot, ...]
    nets: tuple[NetSlot, ...] = ()
    ties: tuple[Tie, ...] = ()
    offers: tuple[tuple[str, Evaluator], ...] = ()

    def net_names(self) -> tuple[str, ...]:
        """Names of all nets of the form, in the order of their ties."""
        return tuple(dict.fromkeys([*(net for tie in self.ties for net in tie.nets), *(net.name for net in self.nets)]))


@dataclass(frozen=True, slots=True)
class Shape:
    """A small circuit to be recognised.

    Attributes:
        passes: what `~` may pass. where: conditions; unknown counts as yes and makes the match unsure.
        one_per: names that tell matches apart. takes: names (or name.name) of what can be in one match only.
        known_by: names that make the identity; all single parts when empty. offers: names made of every form's match.
        shown: whether its matches are told as stages of a board; not when it only serves rules and other shapes.
    """

    name: str
    title: str
    forms: tuple[Form, ...]
    passes: Passes | None = None
    where: tuple[Condition, ...] = ()
    one_per: tuple[str, ...] = ()
    takes: tuple[str, ...] = ()
    known_by: tuple[str, ...] = ()
    offers: tuple[tuple[str, Evaluator], ...] = ()
    shown: bool = True


@dataclass(frozen=True, eq=False)
class Match:
    """A place in a circuit that has a shape. Two are equal when they hold the same things under the same names.

    Attributes:
        shape, form: names. names: everything the shape names, offers too: parts, amplifiers, nets, matches, pins,
            words and lists of these.
        unsure: why it may not be one after all, or not so; every verdict on it is undecided.
        passed: parts that stand between a pin and its net. things: parts and amplifiers that it holds, nested too.
        key: keys of what it is known by, joined. shape_known_by: the names of these.
        binding: (name, keys) of its parts and nets. hops: pairs of nets between which something was passed.
    """

    shape: str
    form: str
    names: Mapping[str, object]
    unsure: tuple[str, ...] = ()
    passed: tuple[Part, ...] = ()
    things: tuple[Part | Amplifier, ...] = ()
    key: str = ""
    shape_known_by: tuple[str, ...] = ()
    binding: tuple[tuple[str, tuple[str, ...]], ...] = ()
    hops: frozenset[tuple[str, str]] = field(default_factory=frozenset)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Match):
            return NotImplemented
        return (self.shape, self.form, self.binding) == (other.shape, other.form, other.binding)

    def __hash__(self) -> int:
        return hash((self.shape, self.form, self.binding))


def has(match: Match, equals: Iterable[tuple[str, str]]) -> bool:
    """Whether a match has the words that a place asks for."""
    return all((match.form if name == "form" else match.names.get(name)) == word for name, word in equals)


@dataclass(frozen=True, slots=True)
class BlindSpot:
    """A part that might have a place in a shape if the role of its pins were known.

    Attributes:
        part: its key. role: what is not known. reason: a clause that says so.
        words: of each form that it may fill, the words that the form offers, its name among them.
    """

    part: str
    role: str
    reason: str
    words: frozenset[frozenset[tuple[str, str]]] = frozenset()


@dataclass(frozen=True, slots=True)
class Found:
    """What was found of one shape.

    Attributes:
        matches: in natural order, those left out that a better one took the place of.
        blind: parts that could not be looked at. ways: all ways to fit, for shapes that build on this one.
    """

    matches: tuple[Match, ...] = ()
    blind: tuple[BlindSpot, ...] = ()
    ways: tuple[Match, ...] = ()
