"""What a loop over a long list gave, remembered: a ground of thousands of pins is looked through once, not once for
each part that is on it.

Remembered is a loop over a `Kept` list whose conditions and value speak of nothing but its own items and of names
that have the same values as before. What it noted (evidence, remarks, table rows) is noted again.
"""

from __future__ import annotations

import ast
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from weakref import WeakKeyDictionary

from netcheck.language.expression import Environment
from netcheck.language.gather import Drawn
from netcheck.language.scope import Scope, Trace
from netcheck.language.values import Kept, Lot, Unknown

LONG = 64  # items from which on remembering is cheaper than looking again
MOST_KEPT = 500  # loops remembered of one expression
MOST_ITEMS_KEPT = 64
MOST_WORDS = 64


@dataclass(frozen=True, slots=True)
class _Kept:
    """One loop: its list and its names' values (held, so that ids stay their own), what it gave and what it noted."""

    held: tuple[object, ...]
    drawn: Sequence[Drawn]
    trace: Trace


@dataclass(slots=True)
class Memory:
    """What one loop of one expression gave, by facts.

    Attributes:
        names: those that its conditions and its value use beside its own.
    """

    names: tuple[str, ...]
    kept: WeakKeyDictionary[object, dict[tuple[object, ...], _Kept]] = field(default_factory=WeakKeyDictionary)

    @staticmethod
    def of(environment: Environment, node: ast.GeneratorExp) -> Memory | None:
        """The memory of an expression's last loop; None where a table is asked, which may use any name."""
        last = node.generators[-1]
        inside = [child for part in (node.elt, *last.ifs) for child in ast.walk(part)]
        if any(isinstance(child, ast.Call) and _called(child) in environment.tables for child in inside):
            return None
        own = {last.target.id} if isinstance(last.target, ast.Name) else set()
        own |= {
            child.target.id
            for child in inside
            if isinstance(child, ast.comprehension) and isinstance(child.target, ast.Name)
        }
        calls = {id(child.func) for child in inside if isinstance(child, ast.Call)}
        names = [child.id for child in inside if isinstance(child, ast.Name) and id(child) not in calls]
        return Memory(tuple(sorted({name for name in names if name not in own} - _FIXED)))

    def recall(self, scope: Scope, lot: Kept, look: Callable[[], Sequence[Drawn]]) -> Sequence[Drawn]:
        """What the loop over a list gives: as before, or by looking."""
        values = (lot, *(scope.value(name) for name in self.names))
        key = tuple(_told(value) for value in values)
        known = self._of(scope.facts)
        if known is None or None in key:
            return look()
        if key in known:
            scope.trace.step()
        else:
            drawn: list[Drawn] = []
            _, trace = scope.apart(lambda _: drawn.extend(look()))
            if len(drawn) > MOST_ITEMS_KEPT or len(known) >= MOST_KEPT:
                scope.trace.recall(trace)
                return drawn
            known[key] = _Kept(values, tuple(drawn), trace)
        scope.trace.recall(known[key].trace)
        return known[key].drawn

    def _of(self, facts: object) -> dict[tuple[object, ...], _Kept] | None:
        try:
            return self.kept.setdefault(facts, {})
        except TypeError:  # facts that cannot be referred to weakly, or are none
            return None


_FIXED = frozenset({"yes", "no", "nothing", "open"})


def _called(node: ast.Call) -> str:
    return node.func.id if isinstance(node.func, ast.Name) else ""


def _told(value: object) -> object | None:
    """What tells a value apart while it is held; None for what is not known, or is a long list of its own."""
    if value is None or isinstance(value, bool | int | float | str):
        return type(value), value
    if isinstance(value, Unknown):
        return None
    if isinstance(value, Lot) and not isinstance(value, Kept):
        if value.perhaps or len(value.members) > MOST_WORDS:
            return None
        return tuple(member if isinstance(member, str) else id(member) for member in value.members)
    return id(value)
