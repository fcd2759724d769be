"""Values of the language: what is known, what is not, and lists with unsure members.

A known value is a float, a bool, a str (a word or a text), None (written `nothing`: known to be absent), a `Lot`
(a list) or any frozen object of the circuit. What is not known is an `Unknown`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Unknown:
    """A value that is not known, why, and the bounds that are known all the same.

    Attributes:
        reasons: each a clause that names what is missing: "R12 has the value 'TBD'".
        low, high: bounds of a number in base units; None where there is no bound.
    """

    reasons: tuple[str, ...]
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Perhaps:
    """A member of a list that may or may not belong there, with the reasons for the doubt."""

    member: object
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Lot:
    """A list of the language: sure members in order, and members that perhaps belong to it."""

    members: tuple[object, ...] = ()
    perhaps: tuple[Perhaps, ...] = ()


@dataclass(frozen=True, slots=True)
class Kept(Lot):
    """A list that is the very same object whenever it is asked for; what a loop over it gave can be remembered."""


@dataclass(frozen=True, slots=True)
class Words(Lot):
    """A list of words, all sure: what is asked most often is whether a word is among them."""

    known: frozenset[str] = field(init=False, compare=False, repr=False, default=frozenset())

    def __post_init__(self) -> None:
        object.__setattr__(self, "known", frozenset(self.members))


def unite(*reasons: Iterable[str]) -> tuple[str, ...]:
    """Reasons of several values, each once, in the order in which they came.

    >>> unite(("a", "b"), ("b", "c"))
    ('a', 'b', 'c')
    """
    groups = [group for group in reasons if group]
    if len(groups) < 2:  # by far the most frequent: nothing is unknown, or one thing is
        return tuple(groups[0]) if groups else ()
    return tuple(dict.fromkeys(reason for group in groups for reason in group))


def reasons_of(*values: object) -> tuple[str, ...]:
    """The reasons of those values that are unknown."""
    found = [value.reasons for value in values if isinstance(value, Unknown)]
    return unite(*found) if found else ()
