"""Where an expression is evaluated: names, facts, and a trace of what was looked at."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

MOST_STEPS = 100_000
MOST_ITEMS = 10_000
MOST_EVIDENCE = 500
_COUNTED = (dict, list, tuple)


class TooManySteps(Exception):
    """An evaluation went beyond its bounds; the verdict is undecided."""


@dataclass(slots=True)
class Trace:
    """What an evaluation touched: steps, keys of parts and nets, notes for the finding, table rows reached."""

    steps: int = 0
    evidence: dict[str, None] = field(default_factory=dict)
    notes: dict[str, None] = field(default_factory=dict)
    rows: set[tuple[str, int]] = field(default_factory=set)

    def step(self, number: int = 1) -> None:
        """Count work. Raises: TooManySteps: beyond the bound."""
        self.steps += number
        if self.steps > MOST_STEPS:
            raise TooManySteps

    def saw(self, keys: Iterable[str]) -> None:
        """Keep keys of what was looked at; no reader follows more than a few hundred."""
        if isinstance(keys, _COUNTED) and len(self.evidence) + len(keys) <= MOST_EVIDENCE:
            self.evidence.update(dict.fromkeys(keys))
            return
        for key in keys:
            if len(self.evidence) >= MOST_EVIDENCE:
                return
            self.evidence.setdefault(key)

    def note(self, text: str) -> None:
        """Keep a remark that the reader of a finding should see."""
        self.notes.setdefault(text)

    def recall(self, other: Trace) -> None:
        """Note again what was noted before; the work is not done again."""
        self.saw(other.evidence)
        self.notes.update(other.notes)
        self.rows |= other.rows


@dataclass(slots=True)
class Scope:
    """Names with their values, names still to be evaluated, the facts, and the trace.

    `let` holds what is evaluated when first used; its result moves to `names`.
    """

    facts: object
    names: dict[str, object]
    let: dict[str, Callable[[Scope], object]] = field(default_factory=dict)
    trace: Trace = field(default_factory=Trace)

    def value(self, name: str) -> object:
        """The value of a name."""
        self.trace.step()
        if name in self.names:
            return self.names[name]
        found = self.let[name](self)
        self.names[name] = found
        return found

    def apart(self, look: Callable[[Scope], object]) -> tuple[object, Trace]:
        """What a look gives, and what it noted, in a trace of its own; its steps count here."""
        outer, self.trace = self.trace, Trace(self.trace.steps)
        try:
            found = look(self)
        finally:
            inner, self.trace = self.trace, outer
            outer.steps = inner.steps
        return found, inner
