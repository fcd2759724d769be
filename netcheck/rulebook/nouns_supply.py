"""Rails behind rectifiers as rules see them: what charges them, what they have and what they give."""

from __future__ import annotations

from netcheck.circuit.model import Net
from netcheck.ground.units import AMPERE, FARAD, PLAIN, VOLT
from netcheck.language.types import Attribute, ListOf, Number, Thing, YesNo
from netcheck.language.values import Lot, Unknown
from netcheck.physics.rectifying_rails import Rectified
from netcheck.physics.supplying import Supply, supply_of
from netcheck.physics.supplying_current import Drawn
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.signatures import attr
from netcheck.rulebook.supplies import supplies

_NET, _PART = Thing("net"), Thing("part")


def rectified_text(facts: Facts, rail: Rectified) -> str:
    """A rectified rail as it is named in sentences: its net."""
    return facts.net_text(facts.circuit.nets[rail.net])


def _net(facts: Facts, key: str) -> Net:
    return facts.circuit.nets[key]


def _parts(facts: Facts, keys: tuple[str, ...]) -> Lot:
    return Lot(tuple(facts.circuit.parts[key] for key in keys))


def supply(facts: Facts, rail: Rectified) -> Supply:
    """A rail ready to be computed with."""
    found = supplies(facts).rail_of(rail.net)
    assert found is not None
    return found


def drawn(facts: Facts, rail: Rectified) -> Drawn:
    """What it gives."""
    return supplies(facts).drawn(supply(facts, rail))


def why_unknown(facts: Facts, rail: Rectified) -> tuple[str, ...]:
    """Why a number of a rail is not known: its load, else the transformer or the reservoirs."""
    return drawn(facts, rail).reasons or why_unbuilt(facts, rail)


def why_unbuilt(facts: Facts, rail: Rectified) -> tuple[str, ...]:
    """Why a rail cannot be computed: a reservoir without a value, or a transformer without its power."""
    return supplies(facts).why_unbuilt(rail)


def _farads(facts: Facts, rail: Rectified) -> object:
    if rail.farads is not None:
        return rail.farads
    known = sum(facts.circuit.parts[key].value.number or 0.0 for key in rail.capacitors)
    return Unknown(why_unbuilt(facts, rail), low=known)


def _amps(facts: Facts, rail: Rectified) -> object:
    found = drawn(facts, rail)
    return found.nominal if found.high is not None else Unknown(found.reasons, low=found.low)


def _amps_most(facts: Facts, rail: Rectified) -> object:
    found = drawn(facts, rail)
    most = found.most(supplies(facts).share)
    return most if most is not None else Unknown(why_unknown(facts, rail), low=found.low)


def _rated(facts: Facts, rail: Rectified) -> object:
    found = supply(facts, rail).rated_amps
    return found if found is not None else Unknown(why_unbuilt(facts, rail))


def _trough(facts: Facts, rail: Rectified) -> object:
    """Bottom of the ripple at low mains; where the load is not known, between that at the rated load and at rest."""
    found, own = drawn(facts, rail), supply(facts, rail)
    most, rated = found.most(supplies(facts).share), own.rated_amps
    if most is not None and (volts := own.trough(most)) is not None:
        return volts
    if rated is None or own.rail.farads is None:
        return Unknown(why_unbuilt(facts, rail), low=0.0, high=own.peak())
    return Unknown(why_unknown(facts, rail), low=own.trough(max(rated, found.low)), high=own.trough(found.low))


def _ripple(facts: Facts, rail: Rectified) -> object:
    found, own = drawn(facts, rail), supply(facts, rail)
    most = found.most(supplies(facts).share)
    if own.ways(0.0) is None or not own.rail.farads:
        return Unknown(why_unbuilt(facts, rail), low=0.0)
    if most is None:
        return Unknown(why_unknown(facts, rail), low=own.ripple(found.low))
    return own.ripple(most)


def _mean(facts: Facts, rail: Rectified) -> object:
    found = supply(facts, rail).at(drawn(facts, rail).nominal)
    return found.mean if found is not None else Unknown(why_unbuilt(facts, rail))


def peak_of(facts: Facts, rail: Rectified) -> float | Unknown:
    """Volts at high mains without load; between two where the regulation of the transformer is not told."""
    own = supply_of(rail, facts.words)
    low, high = own.peak(0.0), own.peak(1.0)
    if low == high:
        return low
    part = facts.text_of(facts.circuit.parts[rail.windings[0].part])
    return Unknown((f"the regulation of {part} is not told",), low, high)


def _reverse(facts: Facts, rail: Rectified) -> object:
    """Largest volts in reverse across a diode, at high mains without load."""
    peak = peak_of(facts, rail)
    if isinstance(peak, Unknown):
        low, high = (None if end is None else rail.across_a_diode(end) for end in (peak.low, peak.high))
        return Unknown(peak.reasons, low, high)
    return rail.across_a_diode(peak)


RECTIFIED_ATTRIBUTES: dict[str, Attribute] = {
    "net": attr(_NET, lambda facts, rail: _net(facts, rail.net)),
    "back": attr(_NET, lambda facts, rail: _net(facts, rail.back)),
    "transformer": attr(_PART, lambda facts, rail: facts.circuit.parts[rail.windings[0].part]),
    "diodes": attr(ListOf(_PART), lambda facts, rail: _parts(facts, rail.diodes)),
    "reservoirs": attr(
        ListOf(Thing("part", frozenset({"capacitor"}))), lambda facts, rail: _parts(facts, rail.capacitors)
    ),
    "farads": attr(Number(FARAD), _farads),
    "winding_volts": attr(Number(VOLT), lambda facts, rail: max(abs(route.volts) for route in rail.routes)),
    "pulses": attr(Number(PLAIN), lambda facts, rail: len(rail.routes)),
    "half_wave": attr(YesNo(), lambda facts, rail: len(rail.routes) == 1),
    "winding_ends": attr(Number(PLAIN), lambda facts, rail: rail.ends),
    "amps": attr(Number(AMPERE), _amps),
    "amps_most": attr(Number(AMPERE), _amps_most),
    "rated_amps": attr(Number(AMPERE), _rated),
    "mean": attr(Number(VOLT), _mean),
    "trough": attr(Number(VOLT), _trough),
    "ripple": attr(Number(VOLT), _ripple),
    "peak": attr(Number(VOLT), peak_of),
    "reverse_volts": attr(Number(VOLT), _reverse),
}
