"""Comparisons as they are evaluated: what is asked most often (a word against a word) is answered at once."""

from __future__ import annotations

from collections.abc import Callable

from netcheck.language import logic
from netcheck.language.scope import MOST_STEPS, Scope, TooManySteps
from netcheck.language.values import Words

Run = Callable[[Scope], object]
KeyOf = Callable[[object], "str | None"]


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
