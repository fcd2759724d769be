"""Rails behind rectifiers: between which nets a reservoir is charged, through which windings and diodes.

A reservoir lies between a higher and a lower node. Current comes to the higher one from a winding's end, through a
diode or straight, and goes from the lower one back to a winding's end in the same way. That covers bridges, taps, two
rails from one bridge, half-waves, and each half of a doubler alike. Nodes look through cables, fuses, beads and links.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

from netcheck.circuit.model import Circuit, Part, Record
from netcheck.circuit.walk import Walks
from netcheck.ground.names import natural_key
from netcheck.physics.devices import EMISSION, SCHOTTKY_BELOW, SCHOTTKY_EMISSION, figure
from netcheck.physics.network.elements import NOMINAL_KELVIN, thermal_volts
from netcheck.physics.rectifying import Junction, Way
from netcheck.physics.rectifying_windings import Winding

_WIRES = frozenset({"fuse", "link", "ferrite", "jumper", "switch", "button"})
_RECTIFIERS = frozenset({"diode", "bridge"})
_RETURNS = frozenset({"ground", "chassis", "earth"})
MOST_WINDINGS = 12
MOST_NETS = 60
DROP = 0.7  # volts by which ways with fewer diodes are preferred; any circuit text


@dataclass(frozen=True, slots=True)
class Route:
    """A way for the charging current: rated volts of the windings in series, their sign being the half-wave."""

    windings: tuple[Winding, ...]
    volts: float
    junctions: int

    def way(self, share: float, ohms: bool = True) -> Way | None:
        """As a `Way`; `share`: of the windings' regulation, 0 the least, 1 the most. None if ohms are not known."""
        unloaded, resistance = 0.0, 0.0
        for winding in self.windings:
            least, most = winding.regulation
            regulation = least + share * (most - least)
            own = winding.ohms(regulation) if ohms else 0.0
            if own is None:
                return None
            resistance += own
            unloaded = max(unloaded, 1 + regulation)
        return Way(abs(self.volts) * unloaded, resistance, self.junctions, 1 if self.volts > 0 else -1)


@dataclass(frozen=True, slots=True)
class Rectified:
    """A rail that windings charge through diodes.

    Attributes:
        key: of its net. net, back: keys of the rail and of what its reservoirs go to. nets: all of the rail's node.
        sign: 1 or -1, against `back`. routes: one for each half-wave on which it is charged.
        diodes, capacitors: keys of parts. farads: of all reservoirs; None where one has no readable value.
        record: of its diodes. kind: of these. shared: its windings also charge another rail.
        ends: how many ends of windings its diodes are on.
    """

    key: str
    net: str
    back: str
    nets: tuple[str, ...]
    sign: int
    routes: tuple[Route, ...]
    diodes: tuple[str, ...]
    capacitors: tuple[str, ...]
    farads: float | None
    record: Record | None
    kind: str
    ends: int = 1
    shared: bool = False

    @property
    def windings(self) -> tuple[Winding, ...]:
        """The windings that charge it, each once."""
        return tuple(dict.fromkeys(winding for route in self.routes for winding in route.windings))

    def across_a_diode(self, peak: float) -> float:
        """Largest volts in reverse across one of its diodes, the reservoir being at a peak.

        One diode in the way has the reservoir at one end and the other crest of the winding at its other; two in the
        way, as in a bridge on one winding, share that. Source: any text on rectifiers.
        """
        return max(2 * peak / route.junctions for route in self.routes)

    def junction(self, end: int = 0) -> Junction:
        """One of its diodes; `end`: -1 with few volts, 1 with many."""
        volts = figure(self.record, "forward_volts", end) or DROP + 0.2 * end
        amps = figure(self.record, "forward_current") or 1.0
        low = figure(self.record, "forward_volts") or volts
        emission = SCHOTTKY_EMISSION if low < SCHOTTKY_BELOW else EMISSION.get(self.kind, 1.8)
        return Junction(volts, amps, emission * thermal_volts(NOMINAL_KELVIN))


_End = tuple[str, tuple[str, ...]]  # a winding's end and the diode on it, () where it is joined straight


@dataclass(frozen=True, slots=True)
class _Diode:
    part: str
    anode: str
    cathode: str


class Nodes:
    """Which nets are one node: through cables and through what has next to no ohms, switches taken as on."""

    def __init__(self, walks: Walks) -> None:
        self.walks = walks
        self._of: dict[str, tuple[str, ...]] = {}

    def nets(self, net: str) -> tuple[str, ...]:
        """All nets of a net's node, natural order."""
        if net not in self._of:
            found, todo = {net}, [net]
            while todo and len(found) < MOST_NETS:
                fresh = set(self._beside(todo.pop())) - found
                found |= fresh
                todo.extend(fresh)
            whole = tuple(sorted(found, key=natural_key))
            self._of.update(dict.fromkeys(whole, whole))
        return self._of[net]

    def of(self, net: str) -> str:
        """The first net of a net's node, which stands for it."""
        return self.nets(net)[0]

    def _beside(self, net: str) -> Iterator[str]:
        yield from self.walks.joined_by_cable(net)
        circuit = self.walks.circuit
        for kind, pins in self.walks.on(net).items():
            if kind in _WIRES:
                for pin in pins:
                    for other, _ in self.walks.across(pin):
                        if circuit.nets[other.net].role != "mains":
                            yield other.net


class _Finder:
    def __init__(self, walks: Walks, windings: tuple[Winding, ...]) -> None:
        self.walks, self.circuit, self.nodes = walks, walks.circuit, Nodes(walks)
        self.windings = _merged(windings[:MOST_WINDINGS], self.nodes)
        self.ends = {node for winding in self.windings for node in winding.ends}
        self.diodes = tuple(self._diodes())

    def _diodes(self) -> Iterator[_Diode]:
        """All rectifying junctions that have an end on a winding."""
        seen: set[str] = set()
        for end in sorted(self.ends, key=natural_key):
            for net in self.nodes.nets(end):
                for kind in _RECTIFIERS:
                    for pin in self.walks.on(net).get(kind, ()):
                        part = self.circuit.parts[pin.part]
                        if part.key not in seen:
                            seen.add(part.key)
                            yield from self._junctions(part)

    def _junctions(self, part: Part) -> Iterator[_Diode]:
        def nodes(role: str) -> list[str]:
            return list(dict.fromkeys(self.nodes.of(pin.net) for pin in part.by_role(role)))

        if part.kind == "bridge":
            for feed in nodes("alternating"):
                yield from (_Diode(part.key, feed, plus) for plus in nodes("plus"))
                yield from (_Diode(part.key, minus, feed) for minus in nodes("minus"))
        elif len(part.pins) == 2:
            yield from (_Diode(part.key, a, k) for a in nodes("anode") for k in nodes("cathode"))

    def found(self) -> tuple[Rectified, ...]:
        """Every rail, those without a ground at either end only where no ground is near."""
        pairs = [found for high, low in self._pairs() if (found := self._rail(high, low)) is not None]
        grounded = {node for rail in pairs if self._ground(rail.back) for node in (rail.net, rail.back)}
        kept = [rail for rail in pairs if self._ground(rail.back) or not {rail.net, rail.back} <= grounded]
        unique = {rail.key: rail for rail in sorted(kept, key=lambda rail: not self._ground(rail.back))[::-1]}
        used = Counter(winding for rail in unique.values() for winding in rail.windings)
        rails = (replace(rail, shared=any(used[one] > 1 for one in rail.windings)) for rail in unique.values())
        return tuple(sorted(rails, key=lambda rail: natural_key(rail.key)))

    def _ground(self, net: str) -> bool:
        return any(self.circuit.nets[one].role in _RETURNS for one in self.nodes.nets(net))

    def _pairs(self) -> list[tuple[str, str]]:
        """Nodes with a reservoir between them, one of which at least is behind a diode."""
        highs = {diode.cathode for diode in self.diodes} - self.ends
        lows = {diode.anode for diode in self.diodes} - self.ends
        found: dict[tuple[str, str], None] = {}
        for start in sorted(highs | lows, key=natural_key):
            for net in self.nodes.nets(start):
                for pin in self.walks.on(net).get("capacitor", ()):
                    for mate in self.circuit.parts[pin.part].pins:
                        other = self.nodes.of(mate.net)
                        if other == start:
                            continue
                        if start in highs and (other in lows or other in self.ends):
                            found[start, other] = None
                        if start in lows and (other in highs or other in self.ends):
                            found[other, start] = None
        return list(found)

    def _rail(self, high: str, low: str) -> Rectified | None:
        above: list[_End] = [(d.anode, (d.part,)) for d in self.diodes if d.cathode == high and d.anode in self.ends]
        below: list[_End] = [(d.cathode, (d.part,)) for d in self.diodes if d.anode == low and d.cathode in self.ends]
        above += [(high, ())] if high in self.ends else []
        below += [(low, ())] if low in self.ends else []
        best: dict[bool, Route] = {}
        used: dict[str, None] = {}
        for begin, first in above:
            for finish, last in below:
                if begin != finish and first + last:
                    for windings, volts in self._between(begin, finish):
                        route = Route(windings, volts, len(first) + len(last))
                        old = best.get(volts > 0)
                        if volts and (old is None or _push(route) > _push(old)):
                            best[volts > 0] = route
                        used.update(dict.fromkeys(first + last))
        if not best:
            return None
        sign = -1 if self._ground(high) and not self._ground(low) else 1
        rail, back = (high, low) if sign > 0 else (low, high)
        parts, farads = self._reservoirs(high, low)
        diodes = sorted(used, key=natural_key)
        junction = self.circuit.parts[diodes[0]]
        net = self._named(rail)
        routes = tuple(best[half] for half in sorted(best, reverse=True))
        return Rectified(
            net, net, self._named(back), self.nodes.nets(rail), sign, routes, tuple(diodes), parts, farads,
            junction.record, junction.kind, len({node for node, diode in (*above, *below) if diode}),
        )  # fmt: skip

    def _between(self, start: str, end: str) -> Iterator[tuple[tuple[Winding, ...], float]]:
        """Ways through windings from node to node: the windings, and the volts of the first against the last."""
        todo: list[tuple[str, tuple[Winding, ...], float]] = [(start, (), 0.0)]
        while todo:
            at, passed, volts = todo.pop()
            if at == end and passed:
                yield passed, volts
                continue
            for winding in self.windings:
                if winding not in passed and at in winding.ends and len(set(winding.ends)) == 2:
                    forward = at == winding.ends[0]
                    other = winding.ends[1] if forward else winding.ends[0]
                    if len(passed) < 4:
                        todo.append((other, (*passed, winding), volts + (winding.volts if forward else -winding.volts)))

    def _reservoirs(self, high: str, low: str) -> tuple[tuple[str, ...], float | None]:
        """Capacitors between two nodes, and their farads together; None where one cannot be read."""
        there = set(self.nodes.nets(low))
        found = {
            pin.part
            for net in self.nodes.nets(high)
            for pin in self.walks.on(net).get("capacitor", ())
            if any(mate.net in there for mate in self.circuit.parts[pin.part].pins)
        }
        parts = tuple(sorted(found, key=natural_key))
        values = [self.circuit.parts[key].value.number for key in parts]
        return parts, None if None in values else math.fsum(value or 0.0 for value in values)

    def _named(self, node: str) -> str:
        """The net of a node by which it is known: a ground, else a rail, with most pins."""
        nets = [self.circuit.nets[key] for key in self.nodes.nets(node)]
        ranked = sorted(nets, key=lambda net: (net.role not in _RETURNS, net.role != "rail", -len(net.pins)))
        return ranked[0].key


def _push(route: Route) -> float:
    return abs(route.volts) - route.junctions * DROP


def _merged(windings: tuple[Winding, ...], nodes: Nodes) -> tuple[Winding, ...]:
    """Windings with nodes as their ends; those in parallel as one of more current."""
    found: dict[tuple[str, str, float, str], Winding] = {}
    for winding in windings:
        ends = (nodes.of(winding.ends[0]), nodes.of(winding.ends[1]))
        key = (*ends, winding.volts, winding.part)
        amps = winding.amps
        if key in found and amps is not None:
            amps += found[key].amps or 0.0
        name = found[key].key if key in found else winding.key
        found[key] = Winding(name, winding.part, ends, winding.volts, amps, winding.regulation)
    return tuple(found.values())


def rectified_rails(walks: Walks, windings: tuple[Winding, ...]) -> tuple[Rectified, ...]:
    """Every rail behind a rectifier whose windings are told, natural order of keys."""
    return _Finder(walks, windings).found() if windings else ()


def spoken_windings(circuit: Circuit, rail: Rectified) -> str:
    """The windings of a rail in words: '18 V of transformer'."""
    volts = sorted({abs(route.volts) for route in rail.routes})
    parts = dict.fromkeys(circuit.parts[winding.part].ref for winding in rail.windings)
    return f"{' and '.join(f'{one:g} V' for one in volts)} of {' and '.join(parts)}"
