"""Coupling capacitors: those that a signal passes on its only way, and the corner that each makes.

The corner of a coupling capacitor is where its reactance equals the impedance that it sees at its two ends with all
else in place: there it takes 3 dB from what would pass with a link instead of it. Feedback, bootstraps and servos are
in that impedance. Where it is no resistance, the capacitor is part of a filter and has no corner of its own.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from netcheck.ground.names import natural_key
from netcheck.language.values import Unknown
from netcheck.physics.ports import SignalPath, Ways

if TYPE_CHECKING:  # the solver and numpy behind it are imported when the first number is asked for
    from netcheck.physics.pathmodel import PathModel
    from netcheck.physics.signalpaths import PathNumbers

MOST_PATHS = 4  # of one capacitor, of which the highest corner is told
MOST_CAPACITORS = 40  # of one path that are looked at
MOST_LOOKED = 10_000  # of all paths
ROUNDS = 30


@dataclass(frozen=True, slots=True)
class Coupling:
    """A capacitor that a signal passes in series, with those in parallel to it.

    Attributes:
        key: of the largest. capacitors: keys of all, the largest first. paths: those that have no way around it.
    """

    key: str
    capacitors: tuple[str, ...]
    paths: tuple[SignalPath, ...]


@dataclass(frozen=True, slots=True)
class OwnCorner:
    """What a coupling capacitor does by itself.

    Attributes:
        hertz: its corner. ohms: what it sees there. resistive: 1 where that is a resistance in which no other capacitor
            has a say; less by the say of the strongest other one, or by the phase. parts: keys of the parts that set
            it, the one with most say first.
    """

    hertz: float
    ohms: float
    resistive: float
    parts: tuple[str, ...]


def couplings(ways: Ways, paths: Iterable[SignalPath]) -> tuple[Coupling, ...]:
    """The coupling capacitors of all paths, in natural order."""
    found: dict[tuple[str, ...], list[SignalPath]] = {}
    for path in paths:
        if path.input.node:
            for keys in _in_series(ways, path):
                found.setdefault(keys, []).append(path)
    ordered = sorted(found.items(), key=lambda pair: natural_key(pair[0][0]))
    return tuple(Coupling(keys[0], keys, tuple(on)) for keys, on in ordered)


def _in_series(ways: Ways, path: SignalPath) -> Iterable[tuple[str, ...]]:
    """Groups of capacitors between the same two nodes, without which the output is not got to."""
    between: dict[tuple[str, str], list[str]] = {}
    inside = path.nodes | {path.input.node}
    for number in ways.capacitors_at(inside):
        piece = ways.points.plan.pieces[number]
        a, b = sorted(piece.nodes)
        if a in inside and b in inside and a not in ways.aside and b not in ways.aside:
            between.setdefault((a, b), []).append(piece.part)
    farads = ways.points.walks.circuit.parts
    for pair in sorted(between)[:MOST_CAPACITORS]:
        ways.looked += 1
        if ways.looked > MOST_LOOKED:
            return
        if frozenset(pair) not in ways.conducting and not ways.leads(path, pair):
            yield tuple(sorted(between[pair], key=lambda key: (-(farads[key].value.number or 0.0), natural_key(key))))


def own_corner(numbers: PathNumbers, coupling: Coupling, load: float, least: float) -> OwnCorner | Unknown:
    """The corner of a coupling capacitor on one path.

    Args:
        load: ohms at the output where no load is told. least: share of the resistance below which a part is not named.
    """
    told = numbers.loads[0] if math.isfinite(numbers.loads[0]) else load
    if numbers.reasons:
        return Unknown(numbers.reasons)
    made = numbers.model(told, numbers.full)
    if isinstance(made, tuple):
        return Unknown(made)
    places = [at for at, name in enumerate(made.structure.names) if name in coupling.capacitors]
    key = ("own corner", made.structure.key, tuple(places))
    kept = numbers.points.kept
    if key not in kept:
        kept[key] = _own_corner(made, [made.structure.names[at] for at in places])
    found = kept[key]
    if not isinstance(found, tuple):
        return Unknown(("what the capacitor sees is not computed",))
    hertz, ohms, resistive, shares = found
    by_part: dict[str, float] = {}
    for name, share in zip(made.structure.names, shares, strict=True):
        part = made.part_of[name]
        by_part[part] = by_part.get(part, 0.0) + abs(share)
    parts = numbers.points.walks.circuit.parts
    ranked = sorted((p for p in by_part if p in parts), key=lambda part: (-by_part[part], natural_key(part)))
    return OwnCorner(hertz, ohms, resistive, tuple(part for part in ranked if by_part[part] >= least))


def _own_corner(made: PathModel, names: Sequence[str]) -> tuple[float, float, float, tuple[float, ...]] | None:
    """Corner, ohms, how far they are a mere resistance, and how much of the ohms each element sets."""
    import numpy as np

    from netcheck.physics.network.elements import Capacitor, Resistor
    from netcheck.physics.network.operating import Network
    from netcheck.physics.network.response import SmallSignal

    taken = [e for e in made.network.elements if isinstance(e, Capacitor) and e.name in names]
    rest = tuple(element for element in made.network.elements if element.name not in names)
    if not taken:
        return None
    small = SmallSignal(Network(rest, made.network.known), made.point)
    farads = sum(element.farads for element in taken)
    ends = [small.index.get(node) for node in (taken[0].a, taken[0].b)]
    drive = np.zeros(len(small.conductance))
    for end, sign in zip(ends, (1.0, -1.0), strict=True):
        if end is not None:
            drive[end] += sign
    hertz = 10.0
    for _ in range(ROUNDS):
        inverse = small.inverses(np.array([hertz]))[0]
        seen = complex(drive @ inverse @ drive)
        if not np.isfinite(seen) or abs(seen) == 0:
            return None
        following = 1 / (2 * math.pi * farads * abs(seen))
        if abs(math.log(following / hertz)) < 1e-4:
            break
        hertz = following
    states, adjoint = inverse @ drive, drive @ inverse

    def across(of: np.ndarray, a: str, b: str) -> complex:
        one, other = small.index.get(a), small.index.get(b)
        return complex(of[one] if one is not None else 0) - complex(of[other] if other is not None else 0)

    shares = {
        element.name: (across(states, element.a, element.b) * across(adjoint, element.a, element.b) / seen).real
        / max(element.ohms, 1e-9)
        for element in rest
        if isinstance(element, Resistor)
    }
    omega = 2 * math.pi * hertz
    others = [
        abs(across(states, e.a, e.b) * across(adjoint, e.a, e.b) / seen) * omega * e.farads
        for e in rest
        if isinstance(e, Capacitor)
    ]
    alone = min(abs(seen.real) / abs(seen), 1.0 - min(1.0, max(others, default=0.0)))
    ordered = tuple(float(shares.get(name, 0.0)) for name in made.structure.names)
    return hertz, abs(seen), alone, ordered
