"""What is evaluated most often, made quick: attributes of a thing, a word against a word, a word among words."""

from __future__ import annotations

from collections.abc import Callable

from netcheck.language import logic
from netcheck.language.scope import MOST_STEPS, Scope, TooManySteps
from netcheck.language.values import Unknown, Words

Run = Callable[[Scope], object]
KeyOf = Callable[[object], "str | None"]


def attribute_of(run: Run, name: str | None, said: str, get: Callable[[object, object], object], key_of: KeyOf) -> Run:
    """An attribute of a thing, whose key is kept as evidence.

    Args:
        run: gives the thing. name: of the thing, where it is a plain name. said: the thing as it is written.
    """
    missing = Unknown((f"there is no {said}",))

    def attribute(scope: Scope) -> object:
        trace = scope.trace
        trace.steps += 1  # as `Trace.step`
        if trace.steps > MOST_STEPS:
            raise TooManySteps
        value = scope.names[name] if name in scope.names else run(scope)
        if value is None:
            return missing
        if isinstance(value, Unknown):
            return value
        key = getattr(value, "key", None)
        if key.__class__ is not str:
            key = key_of(value)
        if key:
            trace.evidence[key] = None
        return get(scope.facts, value)

    return attribute


def equality(run_a: Run, run_b: Run, negated: bool, key_of: KeyOf, word: str | None = None) -> Run:
    """a == b, or a != b. word: the right side, where it is one that is written in the rule."""

    def same_word(scope: Scope) -> object:
        trace = scope.trace
        trace.steps += 1
        if trace.steps > MOST_STEPS:
            raise TooManySteps
        value = run_a(scope)
        if value.__class__ is str:
            return (value == word) is not negated
        found = logic.equal(value, word, key_of)
        return logic.invert(found) if negated else found

    def same(scope: Scope) -> object:
        trace = scope.trace
        trace.steps += 1
        if trace.steps > MOST_STEPS:
            raise TooManySteps
        value, other = run_a(scope), run_b(scope)
        if value.__class__ is str and other.__class__ is str:
            return (value == other) is not negated
        found = logic.equal(value, other, key_of)
        return logic.invert(found) if negated else found

    return same if word is None else same_word


def membership(run_a: Run, run_b: Run, negated: bool, key_of: KeyOf) -> Run:
    """a in b, or a not in b."""

    def member(scope: Scope) -> object:
        trace = scope.trace
        trace.steps += 1
        if trace.steps > MOST_STEPS:
            raise TooManySteps
        value, lot = run_a(scope), run_b(scope)
        if value.__class__ is str and isinstance(lot, Words):
            return (value in lot.known) is not negated
        found = logic.contains(value, lot, key_of)
        return logic.invert(found) if negated else found

    return member
