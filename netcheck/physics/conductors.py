"""Grounds as a graph of conductors: rings in it, ties between grounds, grounds that nothing joins.

A conductor is a node between the nets that it joins, so that two links between the same two grounds make a ring too.
Conductors are parts of the boards and, from the assembly, wires, screens and the case. For hum, a bead, a choke and a
fuse are as good as a wire; a capacitor, a diode or a bridge across a gap closes no ring.

Rings: with the emf of a field of flux density B at f in a ring of area A, 2 pi f B A (theory), a ring of little
resistance carries a current that the ground wire of a signal turns into hum.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from netcheck.circuit.conduction import groups_of
from netcheck.circuit.model import Circuit, Part, Pin
from netcheck.ground.names import natural_key
from netcheck.language.values import Unknown, unite
from netcheck.physics.mating import GROUNDS
from netcheck.physics.rings import smallest_rings

if TYPE_CHECKING:
    import networkx as nx

# Parts that carry the current of a field from ground to ground.
CONDUCTING = frozenset({"resistor", "thermistor", "link", "inductor", "ferrite", "fuse", "jumper", "switch"})
# Parts that may stand on a net in the middle of a chain of conductors and leave it a piece of ground.
_ASIDE = frozenset(
    {
        "capacitor",
        "diode",
        "zener",
        "surge diode",
        "bridge",
        "varistor",
        "connector",
        "test point",
        "hole",
        "mechanical",
    }
)
_POSITION = frozenset({"jumper", "switch"})
_OHMS = frozenset({"resistor", "thermistor"})
# What brings energy onto a board: a ground with one of them on it has a supply of its own.
_FEEDS = frozenset(
    {"connector", "inlet", "battery", "source", "transformer", "bridge", "converter", "module", "unknown"}
)
# Through these no direct current flows on: they stand between two circuits, or block it.
_APART = frozenset({"optocoupler", "relay", "transformer", "converter", "module", "capacitor", "connector", "inlet"})
_MAIN_ELECTRODES = frozenset({"drain", "source", "collector", "emitter"})
_MOST_OHMS = 1e12


@dataclass(frozen=True, slots=True)
class Conductor:
    """Something that joins grounds.

    Attributes:
        key: of the part, or of the wire as the assembly names it. kind: of the part, or 'wire', 'screen', 'case', …
        nets: keys of what it joins, two or more, in natural order; a thing outside any board (the case, the earth of
            the house) stands here by a name of its own.
        ohms: resistance from one of its nets to another; Unknown with bounds where it is in doubt.
        cable: name of the cable it is part of, or ''. members: of a bundle, the keys of its wires.
    """

    key: str
    kind: str
    nets: tuple[str, ...]
    ohms: float | Unknown
    cable: str = ""
    members: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class GroundLoop:
    """A ring of conductors that passes two grounds or more.

    Attributes:
        key: keys of its conductors, sorted, joined. conductors, grounds: in the order of the ring.
        ohms: round the ring. cables: names, in natural order.
        through_case: it passes the case or a net that is bonded to it.
        inside_one_cable: it goes out and comes back in one and the same cable, so that its area is small.
        carries_signal_reference: one of its conductors is what a signal is measured against at its receiver.
    """

    key: str
    conductors: tuple[Conductor, ...]
    grounds: tuple[str, ...]
    ohms: float | Unknown
    cables: tuple[str, ...]
    through_case: bool
    inside_one_cable: bool
    carries_signal_reference: bool | Unknown


@dataclass(frozen=True, slots=True)
class Tie:
    """Two grounds and all the conductors straight between them, in natural order."""

    key: str
    grounds: tuple[str, str]
    conductors: tuple[Conductor, ...]


@dataclass(frozen=True, slots=True)
class Island:
    """A ground that nothing joins to another, though parts on it are fed from where another ground is.

    Attributes:
        key: of its senior net. grounds: keys of its nets. supplies: keys of the parts whose current has no way back.
        doubts: why it may be joined all the same; a clause each.
    """

    key: str
    grounds: tuple[str, ...]
    supplies: tuple[str, ...]
    doubts: tuple[str, ...]


def spoken_part(circuit: Circuit, part: Part) -> str:
    """A part as a person names it: its reference, with the board where there are several."""
    return part.ref if len(circuit.boards) < 2 else f"{part.board}.{part.ref}"


def conductors(circuit: Circuit, extra: Sequence[Conductor] = ()) -> tuple[Conductor, ...]:
    """All conductors between grounds, in natural order of their keys.

    Args:
        circuit: its fitted resistors, links, inductors, beads, fuses, jumpers and switches are looked at.
        extra: wires, screens and the case. Wires of one cable between the same nets come back as one bundle.
    """
    places = _ground_places(circuit)
    found = list(_bundled(extra, lambda net: net in places or net not in circuit.nets))
    for part in circuit.parts.values():
        if part.kind in CONDUCTING and part.fitted:
            pins, ohms = _pins_and_ohms(circuit, part)
            nets = tuple(sorted({pin.net for pin in pins if pin.net in places}, key=natural_key))
            if len(nets) > 1:
                found.append(Conductor(part.key, part.kind, nets, ohms))
    return tuple(sorted(found, key=lambda conductor: natural_key(conductor.key)))


def _ground_places(circuit: Circuit) -> frozenset[str]:
    """Grounds, and nets without a role in the middle of a chain between them: 10 ohm, a socket's sleeve, a link."""
    found = set()
    for net in circuit.nets.values():
        kinds = [circuit.part_of(pin).kind for pin in circuit.pins_on(net)] if net.role == "signal" else []
        chain = sum(kind in CONDUCTING for kind in kinds) > 1 and all(kind in CONDUCTING | _ASIDE for kind in kinds)
        if net.role in GROUNDS or chain:
            found.add(net.key)
    return frozenset(found)


def _pins_and_ohms(circuit: Circuit, part: Part) -> tuple[tuple[Pin, ...], float | Unknown]:
    """The pins that a part joins and its resistance from one to another.

    What a bead, a choke or a fuse has is not in a netlist and counts as nothing. Of a jumper that is drawn closed it is
    the closed pins; of any other, and of a switch, all that it may join.
    """
    name = spoken_part(circuit, part)
    groups = groups_of(part, name)
    sure = next((group for group in groups if not group.reasons), None)
    if sure is None:
        reasons = unite(*(group.reasons for group in groups))
        return tuple(pin for group in groups for pin in group.pins), Unknown(reasons, low=0.0)
    if part.kind not in _OHMS:
        return sure.pins, 0.0
    if part.value.number is None:
        return sure.pins, Unknown((f"{name} has the value '{part.value.text}'",), low=0.0)
    return sure.pins, part.value.number


def _bundled(extra: Sequence[Conductor], kept: Callable[[str], bool]) -> Iterator[Conductor]:
    bundles: dict[tuple[str, tuple[str, ...]], list[Conductor]] = {}
    for conductor in sorted(extra, key=lambda conductor: natural_key(conductor.key)):
        nets = tuple(sorted(set(conductor.nets), key=natural_key))
        if len(nets) < 2 or not all(kept(net) for net in nets):
            continue
        alone = "" if conductor.cable else conductor.key
        bundles.setdefault((conductor.cable or f"\0{alone}", nets), []).append(conductor)
    for (cable, nets), wires in bundles.items():
        if len(wires) == 1:
            yield Conductor(wires[0].key, wires[0].kind, nets, wires[0].ohms, wires[0].cable, wires[0].members)
            continue
        kinds = {wire.kind for wire in wires}
        yield Conductor(
            key=f"{cable}/{' + '.join(nets)}",
            kind=kinds.pop() if len(kinds) == 1 else "wire",
            nets=nets,
            ohms=in_parallel(wire.ohms for wire in wires),
            cable=cable,
            members=tuple(wire.key for wire in wires),
        )


def in_parallel(ohms: Iterable[float | Unknown]) -> float | Unknown:
    """Resistance of several in parallel, in ohms; with bounds where some are in doubt.

    >>> in_parallel([10.0, 10.0]), in_parallel([0.0, 4.7])
    (5.0, 0.0)
    >>> in_parallel([10.0, Unknown(("R2 has the value 'TBD'",), low=0.0)])
    Unknown(reasons=("R2 has the value 'TBD'",), low=0.0, high=10.0)
    """
    values = list(ohms)
    low = _parallel([value if isinstance(value, float | int) else value.low or 0.0 for value in values])
    high = _parallel([math.inf if v is None else v for v in (_high(value) for value in values)])
    doubts = unite(*(value.reasons for value in values if isinstance(value, Unknown)))
    if doubts and low != high:
        return Unknown(doubts, low=low, high=None if math.isinf(high) else high)
    return low


def in_series(ohms: Iterable[float | Unknown]) -> float | Unknown:
    """Sum of resistances in ohms; with bounds where some are in doubt.

    >>> in_series([10.0, Unknown(("R2 has the value 'TBD'",), low=0.0)])
    Unknown(reasons=("R2 has the value 'TBD'",), low=10.0, high=None)
    """
    values = list(ohms)
    low = math.fsum(value if isinstance(value, float | int) else value.low or 0.0 for value in values)
    highs = [_high(value) for value in values]
    doubts = unite(*(value.reasons for value in values if isinstance(value, Unknown)))
    if not doubts:
        return low
    return Unknown(doubts, low=low, high=None if None in highs else math.fsum(high or 0.0 for high in highs))


def _high(value: float | Unknown) -> float | None:
    return value.high if isinstance(value, Unknown) else value


def _parallel(values: list[float]) -> float:
    if any(value <= 0 for value in values):
        return 0.0
    siemens = math.fsum(1.0 / value for value in values)
    return 1.0 / siemens if siemens else math.inf


# Rings


def ground_loops(
    circuit: Circuit, extra: Sequence[Conductor] = (), references: Collection[str] | None = None
) -> tuple[GroundLoop, ...]:
    """Independent rings of ground conductors; the same whatever the order of listing.

    Of all sets of independent rings it is the one that goes least over the case, then has the least resistance.

    There are as many as conductors can be taken out before the first ground falls off: edges - nodes + connected
    pieces of the graph.

    Args:
        circuit, extra: as for `conductors`.
        references: keys of conductors (or of wires in a bundle) against which a signal is measured where it is
            received; None when that is not given.

    Returns:
        Loops in natural order of their keys. A ring with one ground only, as two resistors from a signal to the same
        ground make, is none.
    """
    found = conductors(circuit, extra)
    by_key = {conductor.key: conductor for conductor in found}
    weights = {key: _weight(conductor) for key, conductor in by_key.items()}
    rings = smallest_rings({key: conductor.nets for key, conductor in by_key.items()}, weights)
    loops = []
    for nets, keys in rings:
        grounds = tuple(net for net in nets if net not in circuit.nets or circuit.nets[net].role in GROUNDS)
        if len(grounds) > 1:
            loops.append(_loop(circuit, tuple(by_key[key] for key in keys), grounds, references))
    return tuple(sorted(loops, key=lambda loop: natural_key(loop.key)))


def _weight(conductor: Conductor) -> int:
    """Micro-ohms, at least; the case weighs more than any of them.

    A ring in one lead has less area than one over the case, and of the two it is the one to be told apart.
    """
    ohms = conductor.ohms
    least = (ohms.low or 0.0) if isinstance(ohms, Unknown) else ohms
    return round(min(max(least, 0.0), _MOST_OHMS) * 1e6) + (conductor.kind == "case") * round(_MOST_OHMS * 1e7)


def _loop(
    circuit: Circuit, ring: tuple[Conductor, ...], grounds: tuple[str, ...], references: Collection[str] | None
) -> GroundLoop:
    wires = [conductor for conductor in ring if conductor.cable]
    cables = tuple(sorted({wire.cable for wire in wires}, key=natural_key))
    bonded = any(net not in circuit.nets or circuit.nets[net].role in ("chassis", "earth") for net in grounds)
    through_case = bonded or any(conductor.kind == "case" for conductor in ring)
    carries: bool | Unknown = Unknown(("which of the grounds a signal is measured against is not given",))
    if references is not None:
        carries = any(key in references for conductor in ring for key in (conductor.key, *conductor.members))
    return GroundLoop(
        key=" + ".join(sorted((conductor.key for conductor in ring), key=natural_key)),
        conductors=ring,
        grounds=grounds,
        ohms=in_series(conductor.ohms for conductor in ring),
        cables=cables,
        through_case=through_case,
        inside_one_cable=len(cables) == 1 and len(wires) > 1 and not through_case,
        carries_signal_reference=carries,
    )


def ties(circuit: Circuit, extra: Sequence[Conductor] = ()) -> tuple[Tie, ...]:
    """Every two grounds that conductors join straight, in natural order."""
    found: dict[tuple[str, str], list[Conductor]] = {}
    for conductor in conductors(circuit, extra):
        grounds = [net for net in conductor.nets if net not in circuit.nets or circuit.nets[net].role in GROUNDS]
        for at, near in enumerate(grounds):
            for far in grounds[at + 1 :]:
                found.setdefault((near, far), []).append(conductor)
    pairs = sorted(found, key=lambda pair: (natural_key(pair[0]), natural_key(pair[1])))
    return tuple(Tie(f"{near} + {far}", (near, far), tuple(found[near, far])) for near, far in pairs)


# Islands


def ground_islands(circuit: Circuit, extra: Sequence[Conductor] = ()) -> tuple[Island, ...]:
    """Grounds without a connector, a source or a tie, on which parts are that are fed from elsewhere.

    Elsewhere is what direct current can reach from connectors, sources and other grounds, through any part but
    capacitors and those that keep two circuits apart (transformers, optocouplers, relays, converters).

    One ground of a board is never one, and others are islands as seen from it: among those where energy comes in, or
    among all if it comes in at none, the one with most pins.
    """
    lesser = _lesser_domains(circuit)
    if not lesser:
        return ()
    import networkx as nx  # takes a tenth of a second: only where there are two grounds

    graph = nx.Graph()
    found = conductors(circuit, extra)
    for conductor in found:
        graph.add_edges_from((("conductor", conductor.key), ("net", net)) for net in conductor.nets)
    movable = frozenset(c.key for c in found if c.kind in _POSITION and isinstance(c.ohms, Unknown))
    islands = []
    for nets in _grown_together(circuit, graph, lesser, movable):
        doubts = _joined_or_doubts(circuit, graph, nets, movable)
        if doubts is None:
            continue
        supplied = _fed_from_elsewhere(circuit, nets)
        if supplied:
            islands.append(Island(nets[0], nets, supplied, doubts))
    return tuple(islands)


def _lesser_domains(circuit: Circuit) -> list[tuple[str, ...]]:
    """Nets of each ground domain but the main one of its board, in natural order."""
    domains: dict[tuple[str, str], list[str]] = {}
    for net in sorted(circuit.nets.values(), key=lambda net: natural_key(net.key)):
        if net.role == "ground" and net.pins:
            domains.setdefault((net.board, net.domain or net.key), []).append(net.key)
    main: dict[str, tuple[tuple[bool, int], tuple[str, str]]] = {}
    for domain, nets in domains.items():
        pins = [pin for key in nets for pin in circuit.pins_on(circuit.nets[key])]
        size = (any(circuit.part_of(pin).kind in _FEEDS for pin in pins), len(pins))
        if domain[0] not in main or size > main[domain[0]][0]:
            main[domain[0]] = (size, domain)
    return [tuple(nets) for domain, nets in domains.items() if main[domain[0]][1] != domain]


def _grown_together(
    circuit: Circuit, graph: nx.Graph, domains: list[tuple[str, ...]], open_ones: frozenset[str]
) -> list[tuple[str, ...]]:
    """Domains that conductors surely join to each other are one, in natural order."""
    groups: list[set[str]] = []
    for nets in domains:
        group = set(nets) | _reached(circuit, graph, nets, open_ones)
        for other in [other for other in groups if other & group]:
            groups.remove(other)
            group |= other
        groups.append(group)
    lesser = {net for nets in domains for net in nets}
    return [tuple(sorted(group & lesser, key=natural_key)) for group in groups]


def _joined_or_doubts(
    circuit: Circuit, graph: nx.Graph, nets: tuple[str, ...], open_ones: frozenset[str]
) -> tuple[str, ...] | None:
    """None when something joins or feeds the domain; else what leaves it in doubt."""
    doubts: list[str] = []
    for key in nets:
        for pin in circuit.pins_on(circuit.nets[key]):
            part = circuit.part_of(pin)
            if part.kind in ("hole", "test point"):
                doubts.append(f"what {spoken_part(circuit, part)} touches is not given")
            elif part.kind == "unknown":
                doubts.append(f"what {spoken_part(circuit, part)} is, is not known")
            elif part.kind in _FEEDS:
                return None
    others = _reached(circuit, graph, nets, frozenset())
    if others:
        if _reached(circuit, graph, nets, open_ones):
            return None
        beside = {key for net in nets if ("net", net) in graph for _, key in graph[("net", net)] if key in open_ones}
        doubtful = beside or {key for sort, key in graph if sort == "conductor" and key in open_ones}
        names = sorted((spoken_part(circuit, circuit.parts[key]) for key in doubtful), key=natural_key)
        doubts.extend(f"the position of {name} is not given" for name in names)
    elif switch := _transistor_to_ground(circuit, nets):
        doubts.append(f"whether {spoken_part(circuit, switch)} joins it to another ground is not known")
    return tuple(dict.fromkeys(doubts))


def _transistor_to_ground(circuit: Circuit, nets: tuple[str, ...]) -> Part | None:
    """A transistor on a way to another ground, as in a battery's minus lead; through it and other conductors."""
    seen: dict[str, Part | None] = dict.fromkeys(nets)
    todo = list(nets)
    while todo:
        net = todo.pop()
        for pin in circuit.pins_on(circuit.nets[net]):
            part, switch = circuit.part_of(pin), seen[net]
            if pin.role in _MAIN_ELECTRODES:
                mates, switch = [mate for mate in part.pins if mate.role in _MAIN_ELECTRODES], part
            elif part.kind in CONDUCTING:
                mates = list(part.pins)
            else:
                continue
            for other in (circuit.nets[mate.net] for mate in mates):
                if other.role == "ground" and other.key not in nets and switch:
                    return switch
                if other.role == "signal" and other.key not in seen:
                    seen[other.key] = switch
                    todo.append(other.key)
    return None


def _reached(circuit: Circuit, graph: nx.Graph, nets: tuple[str, ...], without: frozenset[str]) -> set[str]:
    """Other grounds that conductors lead to, those of unknown position left out if asked."""
    seen = {("net", net) for net in nets}
    todo = list(seen & set(graph))
    while todo:
        for near in graph[todo.pop()]:
            if near not in seen and near[1] not in without:
                seen.add(near)
                todo.append(near)
    places = {key for sort, key in seen if sort == "net" and key not in nets}
    return {key for key in places if key not in circuit.nets or circuit.nets[key].role in GROUNDS}


def _fed_from_elsewhere(circuit: Circuit, nets: tuple[str, ...]) -> tuple[str, ...]:
    """Parts on the domain that direct current reaches from outside it."""
    reached = {
        net.key
        for net in circuit.nets.values()
        if net.key not in nets and any(circuit.part_of(pin).kind in _FEEDS for pin in circuit.pins_on(net))
    }
    reached |= {net.key for net in circuit.nets.values() if net.role == "ground" and net.key not in nets}
    todo = list(reached)
    while todo:
        for pin in circuit.pins_on(circuit.nets[todo.pop()]):
            if circuit.part_of(pin).kind not in _APART:
                fresh = {mate.net for mate in circuit.part_of(pin).pins} - reached - set(nets)
                reached |= fresh
                todo.extend(fresh)
    on_it = {pin.part for key in nets for pin in circuit.pins_on(circuit.nets[key])}
    found = [
        key
        for key in on_it
        if circuit.parts[key].kind not in _APART and any(pin.net in reached for pin in circuit.parts[key].pins)
    ]
    return tuple(sorted(found, key=natural_key))
