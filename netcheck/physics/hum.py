"""What a ring of ground conductors picks up from a field, and how much of it comes in series with a signal.

A field of flux density B at a frequency f induces 2 pi f B A in a ring of area A. That voltage drives a current round
the ring and falls across its conductors as their resistances share it. What falls across the conductor that a signal is
measured against is in series with the signal. Source: Faraday's law and Ohm's law.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping

from netcheck.circuit.assemble import Lead, Wire
from netcheck.language.values import Unknown, unite
from netcheck.physics.conductors import Conductor, GroundLoop, in_series

_LEADING = frozenset({"wire", "screen"})


def induced_volts(flux: float, hertz: float, area: float) -> float:
    """Volts (rms) round one turn.

    Args:
        flux: density in tesla (rms). hertz: of the field. area: in square metres.

    >>> round(induced_volts(1e-6, 50.0, 0.1) * 1e6, 1)
    31.4
    """
    return 2.0 * math.pi * hertz * flux * area


def longest_lead(
    loop: GroundLoop, wires: Mapping[str, Wire], leads: Mapping[str, Lead], most: float
) -> float | Unknown:
    """Length of the longest lead in a ring, in metres; 0 where none is in it.

    Args:
        wires, leads: by key. most: metres that a lead may be long of which that is not told.
    """
    known, unknown = [0.0], []
    for wire in _wires_of(loop, wires):
        lead = leads.get(wire.cable)
        if lead is not None and lead.direct:
            continue
        if wire.length is not None:
            known.append(wire.length)
        else:
            unknown.append(f"the {lead.name}" if lead is not None else f"the wire from {wire.key.split('/', 1)[1]}")
    if not unknown or max(known) >= most:
        return max(known)
    reasons = tuple(f"the length of {name} is not given" for name in dict.fromkeys(unknown))
    return Unknown(reasons, low=max(known), high=most)


def _wires_of(loop: GroundLoop, wires: Mapping[str, Wire]) -> Iterable[Wire]:
    keys = (key for conductor in loop.conductors for key in (conductor.members or (conductor.key,)))
    return (wires[key] for key in keys if key in wires and wires[key].kind in _LEADING)


def side_by_side(loop: GroundLoop, leads: Collection[Lead]) -> bool:
    """Whether all leads of a ring run together, so that it is no wider than they are thick."""
    mine = [lead for lead in leads if lead.name in loop.cables]
    together = all(other.key in lead.bundled for lead in mine for other in mine if other is not lead)
    return len(mine) == len(loop.cables) > 0 and together and not loop.through_case


def share_in_signal(loop: GroundLoop, references: Collection[str]) -> float | Unknown:
    """Which share of the volts round a ring falls across what a signal is measured against, 0 to 1.

    Args:
        references: keys of these conductors, or of wires in a bundle.
    """
    mine = [c for c in loop.conductors if any(key in references for key in (c.key, *c.members))]
    others = [c for c in loop.conductors if c not in mine]
    here, rest = _ohms(mine), _ohms(others)
    (low, high), (rest_low, rest_high) = _ends(here), _ends(rest)
    reasons = unite(*(end.reasons for end in (here, rest) if isinstance(end, Unknown)))
    least = _part(low, rest_high)
    most = 1.0 if mine and high == rest_low == 0 else _part(high, rest_low)
    return Unknown(reasons, low=least, high=most) if reasons and least < most else most


def _ohms(conductors: Iterable[Conductor]) -> float | Unknown:
    return in_series(conductor.ohms for conductor in conductors)


def _ends(ohms: float | Unknown) -> tuple[float, float]:
    if not isinstance(ohms, Unknown):
        return ohms, ohms
    return ohms.low or 0.0, math.inf if ohms.high is None else ohms.high


def _part(one: float, other: float) -> float:
    """One of both together."""
    if one == 0 or math.isinf(one):
        return float(one > 0)
    return 0.0 if math.isinf(other) else one / (one + other)


def ohms_of_parts(loop: GroundLoop, parts: Collection[str]) -> float | Unknown:
    """Ohms of the parts in a ring, its wires aside; without upper bound while a wire of it may not be there.

    Args:
        parts: keys of all parts.
    """
    ohms = [conductor.ohms for conductor in loop.conductors if conductor.key in parts]
    absent = (c.ohms for c in loop.conductors if c.key not in parts)
    doubts = [Unknown(one.reasons, low=0.0) for one in absent if isinstance(one, Unknown) and one.high is None]
    return in_series([*ohms, *doubts])
