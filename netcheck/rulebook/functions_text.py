"""Functions of the rule language about texts."""

from __future__ import annotations

from netcheck.ground.names import alike
from netcheck.language.scope import Trace
from netcheck.language.types import Function, ListOf, Parameter, Text, Type, Word, YesNo
from netcheck.language.values import Lot
from netcheck.rulebook.facts import Facts


def _is_text(kind: Type) -> bool:
    return isinstance(kind, Text | Word)


def _is_pattern(kind: Type) -> bool:
    return _is_text(kind.item if isinstance(kind, ListOf) else kind)


def _like(facts: Facts, trace: Trace, text: str, pattern: str | Lot) -> bool:
    """A list of patterns counts as work by its length, and is looked at as one."""
    if isinstance(pattern, str):
        return alike(text, pattern)
    trace.step(len(pattern.members))
    return alike(text, *(str(one) for one in pattern.members))


TEXT_FUNCTIONS: dict[str, Function] = {
    "like": Function(
        "like",
        (
            Parameter("text", _is_text, "a text"),
            Parameter("pattern", _is_pattern, "a pattern with * for any text, or a list of them"),
        ),
        lambda types, named: YesNo(),
        _like,
        "whether a text is like a pattern, or like one of a list of them; letter case aside",
    ),
}
