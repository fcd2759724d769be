"""What functions of the rule language accept and give, for the tables of functions; and one line for an attribute."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from netcheck.ground.units import Unit
from netcheck.language.types import Attribute, Number, Parameter, Type


def always(kind: Type) -> Callable[[Sequence[Type], Mapping[str, Type]], Type | str]:
    """The result of a function that has one type whatever it is given."""
    return lambda types, named: kind


def attr(kind: Type, get: Callable[[Any, Any], object]) -> Attribute:
    """What stands after a full stop; `get` takes the facts and a thing of one noun, which no checker can tell."""
    return Attribute(kind, get)


def number(name: str, unit: Unit, expected: str, needed: bool = True) -> Parameter:
    """A parameter that is a number of one unit.

    Args:
        expected: what messages call it. needed: whether it may be left out.
    """
    return Parameter(name, lambda kind: isinstance(kind, Number) and kind.unit == unit, expected, needed)
