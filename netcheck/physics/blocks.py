"""A circuit in blocks that can be solved one after the other.

An amplifier's output sets the voltage of its node whatever hangs on it, so that influence runs one way there: from its
inputs to its output. Nodes that have a say in each other make a block; blocks are solved in the order in which they
depend on each other. A block that a part without model has a say in is blind, and so are those behind it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import networkx as nx

from netcheck.circuit.walk import Walks
from netcheck.ground.names import natural_key
from netcheck.language.values import Unknown, unite
from netcheck.physics.devices import Spread
from netcheck.physics.modelling import ZERO, Blind, Modeller, Piece
from netcheck.physics.volts import net_volts, spoken_net, volts_range

# Families of connectors to which the outside world is joined: their inputs are at 0 V or open. Common practice.
OUTSIDE_FAMILIES = frozenset({"jack", "xlr", "rca"})
_TIES = frozenset({"link", "fuse", "ferrite"})
_POWERS = frozenset({"rail", "ground", "chassis", "earth", "mains"})


@dataclass(frozen=True)
class Block:
    """Nodes that are solved together.

    Attributes:
        nodes: in natural order. pieces: all that is to be put in, capacitors aside. before: numbers of the blocks that
            it depends on directly. feeds: known nodes that it touches.
        reasons: why it is blind, empty when it is not. foreign: why its volts hold for an open input only.
        varies: what has a say in it, of this and all blocks before.
    """

    number: int
    nodes: tuple[str, ...]
    pieces: tuple[Piece, ...]
    before: tuple[int, ...]
    feeds: tuple[str, ...]
    reasons: tuple[str, ...]
    foreign: tuple[str, ...]
    varies: frozenset[str]


@dataclass(frozen=True)
class Plan:
    """All blocks of a circuit.

    Attributes:
        known: node -> (low, nominal, high) volts. blocks: in the order in which they can be solved. of: node -> block.
        pieces: all of them; by_part: the same by key. blind_parts: why a part has no model, by key.
        silent: nodes at which something alternating is not known, with the reason.
    """

    known: Mapping[str, tuple[float, float, float]]
    blocks: tuple[Block, ...]
    of: Mapping[str, int]
    pieces: tuple[Piece, ...]
    by_part: Mapping[str, tuple[Piece, ...]]
    modeller: Modeller
    blind_parts: Mapping[str, str] = field(default_factory=dict)
    silent: Mapping[str, str] = field(default_factory=dict)


def plan(walks: Walks, spread: Spread, supposed: Mapping[str, float] = MappingProxyType({})) -> Plan:
    """Model a circuit and put it in order. Its cost grows with the number of parts; nothing is solved.

    Args:
        supposed: volts of nets that are not known, for what does not depend on them.
    """
    known = _known(walks)
    for net, volts in supposed.items():
        known.setdefault(walks.joined_by_cable(net)[0], (volts,) * 3)
    modeller = Modeller(walks, {node: volts[1] for node, volts in known.items()}, spread)
    pieces, blinds = _all_pieces(walks, modeller, known)
    graph = _graph(walks, modeller, pieces, known)
    silent = {node: blind.reason for blind in blinds if blind.alternating for node in blind.nodes}
    blinds = [blind for blind in blinds if not blind.alternating]
    reasons = _blind_nodes(walks, modeller, blinds, known)
    order = _in_order(graph)
    of = {node: number for number, nodes in enumerate(order) for node in nodes}
    by_block = _pieces_of_blocks(pieces, of)
    blocks: list[Block] = []
    for number, nodes in enumerate(order):
        before = sorted({of[other] for node in nodes for other in graph.predecessors(node)} - {number})
        mine = by_block.get(number, ())
        feeds = tuple(dict.fromkeys(node for piece in mine for node in piece.nodes if node in known))
        why = unite(
            *(reasons.get(node, ()) for node in nodes),
            *(blocks[other].reasons for other in before),
        )
        foreign = unite(
            *(blocks[other].foreign for other in before),
            _only_from_outside(walks, mine, nodes, known, before),
        )
        varies = frozenset().union(*(piece.varies for piece in mine), *(blocks[other].varies for other in before))
        if any(known[node][0] != known[node][2] for node in feeds):
            varies |= {"supply"}
        blocks.append(Block(number, nodes, mine, tuple(before), feeds, why, foreign, varies))
    by_part: dict[str, list[Piece]] = {}
    for piece in pieces:
        by_part.setdefault(piece.part, []).append(piece)
    parts = {part: tuple(found) for part, found in by_part.items()}
    blind_parts = {blind.part: blind.reason for blind in blinds if any(node not in known for node in blind.nodes)}
    return Plan(known, tuple(blocks), of, pieces, parts, modeller, blind_parts, silent)


def _known(walks: Walks) -> dict[str, tuple[float, float, float]]:
    """Rails, grounds and what links, fuses and beads join to them: (low, nominal, high).

    Volts at rest can be certain elsewhere, too: behind resistors in which no current flows. A signal moves such a net.
    """
    found = {ZERO: (0.0, 0.0, 0.0)}
    for key in _tied(walks):
        volts = net_volts(walks.circuit, key)
        if not isinstance(volts, Unknown):
            low, high = volts_range(walks.circuit, key)
            node = walks.joined_by_cable(key)[0]
            found.setdefault(node, (volts if low is None else low, volts, volts if high is None else high))
    return found


def _tied(walks: Walks) -> tuple[str, ...]:
    """Nets of rails and grounds, and those joined to them by what holds them there for signals too."""
    circuit = walks.circuit
    held = {key for key, net in circuit.nets.items() if net.role in _POWERS}
    todo = list(held)
    while todo:
        for pin in circuit.pins_on(circuit.nets[todo.pop()]):
            part = circuit.part_of(pin)
            if part.fitted and (part.kind in _TIES or (part.kind == "resistor" and part.value.number == 0)):
                fresh = {mate.net for mate in part.pins} - held
                held |= fresh
                todo.extend(fresh)
    return tuple(key for key in circuit.nets if key in held)


def _all_pieces(
    walks: Walks, modeller: Modeller, known: dict[str, tuple[float, float, float]]
) -> tuple[tuple[Piece, ...], list[Blind]]:
    pieces: list[Piece] = []
    blinds: list[Blind] = []
    for part in sorted(walks.circuit.parts.values(), key=lambda part: natural_key(part.key)):
        if not part.fitted:
            continue
        if part.kind == "regulator" and (adjusted := modeller.adjusted(part)) is not None:
            known.setdefault(adjusted[0], (adjusted[1],) * 3)
        for found in modeller.pieces(part):
            if isinstance(found, Blind):
                blinds.append(found)
            elif len(set(found.nodes)) > 1:
                pieces.append(found)
    for node in sorted({walks.joined_by_cable(key)[0] for key in walks.circuit.nets} - set(known), key=natural_key):
        piece = modeller.outside(node)
        if piece is not None:
            pieces.append(piece)
    return tuple(pieces), blinds


def _graph(walks: Walks, modeller: Modeller, pieces: Iterable[Piece], known: Mapping[str, object]) -> nx.DiGraph:
    """An edge from each node to those that it has a say in; known nodes left out."""
    graph = nx.DiGraph()
    graph.add_nodes_from(
        sorted({walks.joined_by_cable(key)[0] for key in walks.circuit.nets} - set(known), key=natural_key)
    )
    pieces = tuple(pieces)
    outputs = {piece.nodes[0] for piece in pieces if piece.amplifier}
    for piece in pieces:
        for a, b in piece.pulls:
            if a not in known and b not in known and a != b and (piece.amplifier or b not in outputs):
                graph.add_edge(a, b)
    return graph


def _blind_nodes(
    walks: Walks, modeller: Modeller, blinds: Sequence[Blind], known: Mapping[str, object]
) -> dict[str, tuple[str, ...]]:
    found: dict[str, tuple[str, ...]] = {}
    for blind in blinds:
        for node in blind.nodes:
            if node not in known:
                found[node] = unite(found.get(node, ()), (blind.reason,))
    for key, net in walks.circuit.nets.items():
        node = walks.joined_by_cable(key)[0]
        if net.role in _POWERS and node not in known:
            volts = net_volts(walks.circuit, key)
            why = volts.reasons if isinstance(volts, Unknown) else ()
            if net.role == "mains":
                why = (f"{spoken_net(walks.circuit, net)} is at mains",)
            found[node] = unite(found.get(node, ()), why)
    return found


def _in_order(graph: nx.DiGraph) -> list[tuple[str, ...]]:
    """Groups of nodes that have a say in each other, those first that others depend on."""
    groups = [tuple(sorted(group, key=natural_key)) for group in nx.strongly_connected_components(graph)]
    groups.sort(key=lambda group: natural_key(group[0]))
    of = {node: number for number, group in enumerate(groups) for node in group}
    after: dict[int, set[int]] = {number: set() for number in range(len(groups))}
    waits = [0] * len(groups)
    for a, b in graph.edges:
        if of[a] != of[b] and of[b] not in after[of[a]]:
            after[of[a]].add(of[b])
            waits[of[b]] += 1
    todo = [number for number, count in enumerate(waits) if not count]
    at = 0
    while at < len(todo):
        for other in sorted(after[todo[at]]):
            waits[other] -= 1
            if not waits[other]:
                todo.append(other)
        at += 1
    return [groups[number] for number in todo]


def _pieces_of_blocks(pieces: Iterable[Piece], of: Mapping[str, int]) -> dict[int, tuple[Piece, ...]]:
    """Each piece belongs to the last block that it touches: only there are all its voltages known or to be found.

    An earlier block that it touches too is at an amplifier's output or an insulated gate, which it does not load.
    """
    found: dict[int, list[Piece]] = {}
    for piece in pieces:
        numbers = [of[node] for node in piece.nodes if node in of]
        if numbers and not piece.alternating:
            found.setdefault(max(numbers), []).append(piece)
    return {number: tuple(mine) for number, mine in found.items()}


def _only_from_outside(
    walks: Walks,
    pieces: Sequence[Piece],
    nodes: Sequence[str],
    known: Mapping[str, tuple[float, float, float]],
    before: Sequence[int],
) -> tuple[str, ...]:
    """Reasons when nothing on the board drives these nodes and a connector does that is not for the outside world.

    An input hangs on resistors to ground: open or driven by a source at 0 V it is at 0 V. What a header brings from
    another board is not known.
    """
    if before or any(piece.amplifier or piece.varies & {"junctions", "fets"} for piece in pieces):
        return ()
    if any(known[node][1] != 0 for piece in pieces for node in piece.nodes if node in known):
        return ()
    parts = walks.circuit.parts
    pins = [pin for node in nodes for pin in walks.leaves_board(node)]
    strange = [parts[pin.part] for pin in pins if parts[pin.part].family not in OUTSIDE_FAMILIES]
    return tuple(dict.fromkeys(f"what {walks.said(part)} is joined to is not given" for part in strange))
