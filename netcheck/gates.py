"""May we order, may we switch on: two questions, answered from the verdicts."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from netcheck.rulebook.verdicts import Verdict

RELEASED, HELD, NOT_KNOWN = "released", "held", "not enough known"
GATES = ("order", "power-up")


@dataclass(frozen=True, slots=True)
class Gate:
    """The answer to one question.

    Attributes:
        name: 'order' or 'power-up'. state: 'released', 'held' or 'not enough known'.
        held_by: the findings that hold it. waits_for: the undecided verdicts that keep it from being released.
    """

    name: str
    state: str
    held_by: tuple[Verdict, ...] = ()
    waits_for: tuple[Verdict, ...] = ()


def answer(name: str, verdicts: Iterable[Verdict]) -> Gate:
    """The state of a gate.

    order is held by findings at hazard, damage, function or make whose cure is the board; power-up by findings at
    hazard, damage or function whatever their cure. An undecided verdict at those consequences leaves 'not enough
    known'; an undecided hazard does so at both gates whatever its cure.
    """
    grave = ("hazard", "damage", "function", "make") if name == "order" else ("hazard", "damage", "function")
    seen = tuple(verdicts)

    def held(consequence: str, cure: str) -> bool:
        return consequence in grave and (name == "power-up" or cure == "board")

    held_by = tuple(v for v in seen if v.outcome == "finding" and any(held(f.consequence, f.cure) for f in v.failures))
    waits_for = tuple(
        v for v in seen if v.outcome == "undecided" and (v.consequence == "hazard" or held(v.consequence, v.cure))
    )
    state = HELD if held_by else NOT_KNOWN if waits_for else RELEASED
    return Gate(name, state, held_by, waits_for)
