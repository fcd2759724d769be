"""What rules can ask of a ring of grounds beyond its conductors: its size, and what of its voltage is in the signal."""

from __future__ import annotations

from netcheck.ground.units import HERTZ, METRE, OHM, PLAIN, SQUARE_METRE, TESLA, VOLT, Unit
from netcheck.language.scope import Trace
from netcheck.language.types import Attribute, Function, Number, Parameter, Type, YesNo
from netcheck.language.values import Unknown
from netcheck.physics.bonds import LONGEST
from netcheck.physics.conductors import GroundLoop
from netcheck.physics.hum import induced_volts, longest_lead, ohms_of_parts, share_in_signal, side_by_side
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.signatures import always, attr


def _length(facts: Facts, loop: GroundLoop) -> object:
    return longest_lead(loop, facts.wires, facts.leads, facts.words.limit(LONGEST).value)


def _share(facts: Facts, loop: GroundLoop) -> object:
    if facts.references is None:
        return Unknown(("which of the grounds a signal is measured against is not given",), low=0.0, high=1.0)
    return share_in_signal(loop, facts.references)


RING_ATTRIBUTES: dict[str, Attribute] = {
    "length": attr(Number(METRE), _length),
    "share": attr(Number(PLAIN), _share),
    "in_parts": attr(Number(OHM), lambda facts, loop: ohms_of_parts(loop, facts.circuit.parts)),
    "side_by_side": attr(YesNo(), lambda facts, loop: side_by_side(loop, tuple(facts.leads.values()))),
}


def _number(name: str, unit: Unit, expected: str, may_be_unknown: bool = False) -> Parameter:
    def fits(kind: Type) -> bool:
        return isinstance(kind, Number) and (kind.unit == unit or kind.zero)

    return Parameter(name, fits, expected, unknown_allowed=may_be_unknown)


def _induced(facts: Facts, trace: Trace, flux: float, hertz: float, area: float | Unknown | None) -> object:
    if area is None:
        return Unknown(("there is no area",))
    if not isinstance(area, Unknown):
        return induced_volts(flux, hertz, area)
    low, high = (None if end is None else induced_volts(flux, hertz, end) for end in (area.low, area.high))
    return Unknown(area.reasons, low, high)


_FIELD = (
    _number("flux", TESLA, "a flux density, such as 1 uT"),
    _number("hertz", HERTZ, "a frequency"),
    _number("area", SQUARE_METRE, "an area", may_be_unknown=True),
)
RING_FUNCTIONS: dict[str, Function] = {
    "induced": Function(
        "induced",
        _FIELD,
        always(Number(VOLT)),
        _induced,
        "volts that a field of a frequency makes round a ring of an area",
    ),
}
