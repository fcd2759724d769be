"""The current that a lead brings: what is taken from a rail on the side of the lead that is fed through it.

A lead cuts the nets of a rail in two. The side with what makes the rail feeds the other; that other side's current, at
rest and with a signal, comes through the lead. Where it is not known, a regulator's own limit bounds it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from netcheck.circuit.model import Circuit, Pin
from netcheck.language.values import Unknown, unite
from netcheck.physics.devices import figure
from netcheck.physics.supplying_current import Currents, Drawn

_SOURCES = frozenset({"battery", "source", "transformer", "inlet"})
_MAKERS = frozenset({"regulator", "converter", "module"})


def brought(
    currents: Currents, near: str, far: str, wires: Mapping[str, Sequence[str]], share: float
) -> float | Unknown:
    """Amperes through all wires of a lead between two nets of a rail, with music.

    Args:
        near, far: keys of the nets at its ends. wires: net -> nets that wires join it with, over all leads.
        share: mean current with music by that of a full sine.
    """
    cut = frozenset({near, far})
    sides = [currents.side(net, wires, cut) for net in (near, far)]
    if far in sides[0]:
        return Unknown(("its current comes by another way too",), low=0.0)
    # What surely makes a rail decides; then rectifiers; a connector that leads out of the box may feed or take.
    made: list[list[Pin]] = [[], []]
    for way in (_makers, _rectifiers, _loose):
        made = made if any(made) else [way(currents, side) for side in sides]
    if all(made) or not any(made):
        doubt = "from which end the lead is fed is not known" if not any(made) else "both ends of the lead are fed"
        return Unknown((doubt,), low=0.0, high=None if not any(made) else _limit(currents.circuit, made[0] + made[1]))
    feeding = 0 if made[0] else 1
    return _told(currents.of_side(sides[1 - feeding]), share, _limit(currents.circuit, made[feeding]))


def _told(drawn: Drawn, share: float, limit: float | None) -> float | Unknown:
    most = drawn.most(share)
    if most is not None:
        return most if limit is None else min(most, limit)
    reasons = drawn.reasons or ("what the loads are, and at what level, is not given",)
    low = max(drawn.low, 0.0)
    return Unknown(unite(reasons), low=low if limit is None else min(low, limit), high=limit)


def _makers(currents: Currents, nets: frozenset[str]) -> list[Pin]:
    """Pins by which some nets of a rail are fed, as far as their parts are seen."""
    circuit = currents.circuit
    return [pin for net in sorted(nets) for pin in circuit.pins_on(circuit.nets[net]) if _makes(currents, pin)]


def _makes(currents: Currents, pin: Pin) -> bool:
    part = currents.circuit.parts[pin.part]
    if part.kind in _MAKERS:
        return pin.role == "output"
    return part.kind in _SOURCES or part.key in currents.feeds


def _loose(currents: Currents, nets: frozenset[str]) -> list[Pin]:
    return [pin for net in sorted(nets) for pin in currents.walks.leaves_board(net) if pin.net == net]


def _rectifiers(currents: Currents, nets: frozenset[str]) -> list[Pin]:
    """Ends of bridges and diodes that may feed some nets of a rail: diodes from a net with both sorts of their ends."""
    circuit, found = currents.circuit, []
    for pin in (pin for net in sorted(nets) for pin in circuit.pins_on(circuit.nets[net])):
        part = circuit.parts[pin.part]
        if part.kind == "bridge" and pin.role in ("plus", "minus"):
            found.append(pin)
        elif part.kind == "diode":
            others = {one.role for p in part.pins if p.net not in nets for one in _diode_ends(circuit, p.net)}
            found += [pin] if others >= {"anode", "cathode"} else []
    return found


def _diode_ends(circuit: Circuit, net: str) -> list[Pin]:
    pins = circuit.pins_on(circuit.nets[net])
    return [pin for pin in pins if circuit.parts[pin.part].kind == "diode"]


def _limit(circuit: Circuit, pins: Sequence[Pin]) -> float | None:
    """What all that makes a rail gives at most together, where each limits itself."""
    ends = [figure(circuit.parts[pin.part].record, "current_limit", 1) for pin in pins]
    known = [end for end in ends if end is not None]
    return sum(known) if known and len(known) == len(ends) else None
