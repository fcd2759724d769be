"""Functions of the rule language about supplies."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from netcheck.circuit.model import Net, Part
from netcheck.circuit.netnames import read_net_name
from netcheck.ground.units import AMPERE, VOLT, VOLT_AMPERE, WATT
from netcheck.language.scope import Trace
from netcheck.language.types import Function, Number, YesNo
from netcheck.language.values import Unknown
from netcheck.physics.meeting import protected
from netcheck.physics.rectifying_rails import Rectified
from netcheck.physics.rectifying_windings import Winding
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.functions import PART_PARAMETER, PLACE, net_key
from netcheck.rulebook.nouns_supply import drawn, peak_of, supply, why_unbuilt, why_unknown
from netcheck.rulebook.signatures import always
from netcheck.rulebook.supplies import rectified, supplies

if TYPE_CHECKING:
    from netcheck.physics.regulating import Fed


def _named_volts(facts: Facts, trace: Trace, a: object) -> float | None:
    net = facts.circuit.nets[net_key(a)]
    return volts_of_name(facts, net)


def volts_of_name(facts: Facts, net: Net) -> float | None:
    """Volts that a net's given name states for a rail, with their sign; None when it states none, or only a range."""
    if not net.name:
        return None
    read = read_net_name(net.name, facts.words)
    if read.says != "rail" or read.low is not None or read.high is not None:
        return None
    return read.volts


# Rectified rails


def _rectified_peak(facts: Facts, trace: Trace, a: object) -> float | Unknown:
    """Largest volts of a net behind a rectifier, as a magnitude; 0 for other nets."""
    key = net_key(a)
    for rail in rectified(facts):
        if key in rail.nets:
            trace.saw(rail.diodes)
            return peak_of(facts, rail)
    return 0.0


def _peak_across(facts: Facts, trace: Trace, part: Part) -> float | Unknown:
    """Largest volts across a part between a rectified rail and a ground; 0 for other parts."""
    rails = rectified(facts)
    ends = {pin.net for pin in part.pins} if rails else set()
    if len(ends) != 2 or all(facts.circuit.nets[net].role != "ground" for net in ends):
        return 0.0
    found = [_rectified_peak(facts, trace, facts.circuit.nets[net]) for net in sorted(ends)]
    return next((volts for volts in found if volts != 0.0), 0.0)


def _bears_reversal(facts: Facts, trace: Trace, a: object) -> object:
    """Whether what a net leads to, over cables too, bears the wrong polarity."""
    nets = [facts.circuit.nets[key] for key in facts.walks.joined_by_cable(net_key(a))]
    found = [protected(facts.circuit, net) for net in nets]
    trace.saw(part.key for net in nets for part in facts.walks.parts_on(net.key))
    if False in found or True in found:
        return False not in found
    return Unknown((f"what stands behind {facts.net_text(nets[0])} is not known",))


def _drawn_volt_amperes(facts: Facts, trace: Trace, part: Part) -> object:
    """VA that the rails of a transformer take at nominal mains, with music."""
    amps, reasons = _winding_amps(facts, [rail for rail in rectified(facts) if _charges(part, rail)])
    total = sum(winding.volts * one for winding, one in amps.items())
    return Unknown(reasons, low=total) if reasons else total


def _charges(part: Part, rail: Rectified) -> bool:
    return any(winding.part == part.key for winding in rail.windings)


def _winding_amps(facts: Facts, rails: Sequence[Rectified]) -> tuple[dict[Winding, float], tuple[str, ...]]:
    """Amperes rms of each winding with music at nominal mains, and why they are perhaps more."""
    squares: dict[Winding, float] = {}
    reasons: list[str] = []
    for rail in rails:
        own, found = supply(facts, rail), drawn(facts, rail)
        most = found.most(supplies(facts).share)
        if most is None:
            reasons += why_unknown(facts, rail)
        state = own.at(found.low if most is None else most)
        if state is None:
            reasons += why_unbuilt(facts, rail)
            continue
        for route, amps in zip(rail.routes, state.rms, strict=False):
            for winding in route.windings:
                squares[winding] = squares.get(winding, 0.0) + amps * amps
    return {winding: math.sqrt(square) for winding, square in squares.items()}, tuple(dict.fromkeys(reasons))


def _fuse_amps(facts: Facts, trace: Trace, part: Part) -> float | Unknown | None:
    """Rms through a fuse between a winding's end and a rectifier; None for other parts."""
    rails = rectified(facts)
    if part.kind != "fuse" or not rails:
        return None
    nodes = supplies(facts).nodes
    ends = {nodes.of(pin.net) for pin in part.pins}
    fed = [rail for rail in rails if any(ends & set(winding.ends) for winding in rail.windings)]
    if len(ends) != 1 or not fed or facts.circuit.nets[next(iter(ends))].role == "ground":
        return None
    amps, reasons = _winding_amps(facts, fed)
    whole = math.fsum(one for winding, one in amps.items() if ends & set(winding.ends))
    trace.saw(rail.net for rail in fed)
    return Unknown(reasons, low=whole) if reasons else whole


# Regulators


def _fed(facts: Facts, part: Part) -> Fed | Unknown:
    return supplies(facts).fed(part)


def _behind_rectifier(facts: Facts, trace: Trace, part: Part) -> bool:
    """Whether a rectifier whose windings are told feeds a regulator; nothing is computed where there is none."""
    if part.kind != "regulator" or not rectified(facts):
        return False
    return supplies(facts).is_behind(part)


def _of_fed(get: Callable[[Fed], object], what: str) -> Callable[[Facts, Trace, Part], object]:
    def call(facts: Facts, trace: Trace, part: Part) -> object:
        found = _fed(facts, part)
        if isinstance(found, Unknown):
            return found
        value = get(found)
        if value is None:
            return Unknown(found.reasons or (f"{what} of {facts.text_of(part)} is not known",))
        return value

    return call


def _watts(facts: Facts, trace: Trace, part: Part) -> object:
    found = _fed(facts, part)
    if isinstance(found, Unknown):
        return Unknown(found.reasons, low=0.0)
    least, most = found.watts()
    if most is None:
        return Unknown(found.reasons or ("what hangs on the outputs is not given",), low=least)
    return most


SUPPLY_FUNCTIONS: dict[str, Function] = {
    function.name: function
    for function in (
        Function("named_volts", (PLACE,), always(Number(VOLT)), _named_volts,
                 "volts that the name of a net states for a rail, nothing when it states none"),
        Function("rectified_peak", (PLACE,), always(Number(VOLT)), _rectified_peak,
                 "volts of a net behind a rectifier at high mains without load, a magnitude; 0 for other nets"),
        Function("peak_across", (PART_PARAMETER,), always(Number(VOLT)), _peak_across,
                 "the same across a part between such a net and a ground; 0 for other parts"),
        Function("bears_reversal", (PLACE,), always(YesNo()), _bears_reversal,
                 "whether what a net leads to bears the wrong polarity: a series diode, a fuse with a clamp, a FET"),
        Function("drawn_volt_amperes", (PART_PARAMETER,), always(Number(VOLT_AMPERE)), _drawn_volt_amperes,
                 "VA that a transformer gives with music: volts of its windings times the rms of their currents"),
        Function("fuse_amps", (PART_PARAMETER,), always(Number(AMPERE)), _fuse_amps,
                 "rms through a fuse between a winding and its rectifier, with music; nothing for other parts"),
        Function("behind_rectifier", (PART_PARAMETER,), always(YesNo()), _behind_rectifier,
                 "whether a rectifier whose windings are told feeds a regulator"),
        Function("spare_at_rest", (PART_PARAMETER,), always(Number(VOLT)),
                 _of_fed(lambda fed: fed.spare_at_rest(), "the drop-out"),
                 "volts more than a regulator needs across it, at low mains and rest, with the best of what is open"),
        Function("spare_with_signal", (PART_PARAMETER,), always(Number(VOLT)),
                 _of_fed(lambda fed: fed.spare_with_signal(), "the load"),
                 "the same with music, with the worst of what is open"),
        Function("input_least", (PART_PARAMETER,), always(Number(VOLT)),
                 _of_fed(lambda fed: fed.worst, "the load"),
                 "least volts at a regulator's input: bottom of the ripple, low mains, music; a magnitude"),
        Function("output_amps", (PART_PARAMETER,), always(Number(AMPERE)),
                 _of_fed(lambda fed: fed.signal, "the load"),
                 "what a regulator gives at most, with music"),
        Function("regulator_watts", (PART_PARAMETER,), always(Number(WATT)), _watts,
                 "heat of a regulator at high mains and with music"),
    )
}  # fmt: skip
