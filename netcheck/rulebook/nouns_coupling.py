"""Coupling capacitors as rules see them, and what can be asked of each."""

from __future__ import annotations

from netcheck.ground.units import HERTZ, OHM, PLAIN
from netcheck.language.scope import Trace
from netcheck.language.types import Attribute, Function, ListOf, Number, Parameter, Thing
from netcheck.language.values import Lot, Unknown
from netcheck.physics.coupling import Coupling, OwnCorner
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.signals import signals_of
from netcheck.rulebook.signatures import always, attr

STEPS = 50  # what a corner counts among the steps of a verdict
_CAPACITOR = Thing("part", frozenset({"capacitor"}))


def couplings_of(facts: Facts) -> tuple[Coupling, ...]:
    """All coupling capacitors of a circuit."""
    return signals_of(facts).couplings


def coupling_text(facts: Facts, coupling: Coupling) -> str:
    """A coupling as it is named in sentences: by its largest capacitor."""
    return facts.text_of(facts.circuit.parts[coupling.key])


COUPLING_ATTRIBUTES: dict[str, Attribute] = {
    "capacitor": attr(_CAPACITOR, lambda facts, coupling: facts.circuit.parts[coupling.key]),
    "capacitors": attr(
        ListOf(_CAPACITOR), lambda facts, coupling: Lot(tuple(facts.circuit.parts[key] for key in coupling.capacitors))
    ),
    "ways": attr(ListOf(Thing("signal path")), lambda facts, coupling: Lot(coupling.paths)),
}

_COUPLING = Parameter("c", lambda kind: isinstance(kind, Thing) and kind.noun == "coupling", "a coupling")
_LOAD = Parameter("load", lambda kind: isinstance(kind, Number) and kind.unit == OHM, "ohms")


def _asked(facts: Facts, trace: Trace, coupling: Coupling, load: float) -> OwnCorner | Unknown:
    trace.step(STEPS)
    found = signals_of(facts).own_corner(coupling, load)
    trace.saw([*coupling.capacitors, *(found.parts if isinstance(found, OwnCorner) else ())])
    return found


def _corner(facts: Facts, trace: Trace, c: Coupling, load: float) -> object:
    found = _asked(facts, trace, c, load)
    return found if isinstance(found, Unknown) else found.hertz


def _ohms(facts: Facts, trace: Trace, c: Coupling, load: float) -> object:
    found = _asked(facts, trace, c, load)
    return found if isinstance(found, Unknown) else found.ohms


def _resistive(facts: Facts, trace: Trace, c: Coupling, load: float) -> object:
    found = _asked(facts, trace, c, load)
    return found if isinstance(found, Unknown) else found.resistive


def _set_by(facts: Facts, trace: Trace, c: Coupling, load: float) -> object:
    found = _asked(facts, trace, c, load)
    return found if isinstance(found, Unknown) else Lot(tuple(facts.circuit.parts[key] for key in found.parts))


COUPLING_FUNCTIONS: dict[str, Function] = {
    function.name: function
    for function in (
        Function("own_corner", (_COUPLING, _LOAD), always(Number(HERTZ)), _corner,
                 "corner that a coupling makes by itself, with such a load where none is told"),
        Function("ohms_seen", (_COUPLING, _LOAD), always(Number(OHM)), _ohms, "what it sees at its ends there"),
        Function("resistive", (_COUPLING, _LOAD), always(Number(PLAIN)), _resistive,
                 "how much of that is resistance: 1 for an RC by itself, less in a filter"),
        Function("set_by", (_COUPLING, _LOAD), always(ListOf(Thing("part"))), _set_by,
                 "parts that set it, the one with most say first"),
    )
}  # fmt: skip
