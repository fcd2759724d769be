"""Where signals come in and go out: inputs and outputs of a board that is looked at by itself.

A port is a node with a connector on it, or one from which a switch or relay leads on to a connector. It is an input to
an output if an amplifier or a transistor passes on what comes in there and nothing passes the other way. Supplies,
grounds and mains are no ports.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import networkx as nx

from netcheck.circuit.conduction import SWITCHED
from netcheck.ground.names import natural_key
from netcheck.physics.modelling import Piece
from netcheck.physics.points import Points

MOST_PATHS = 8


@dataclass(frozen=True, slots=True)
class Port:
    """A node at the edge of a board.

    Attributes:
        node: see `Points`. pin: key of the connector's pin, or ''. switch: key of the switch before it, or ''.
    """

    node: str
    pin: str = ""
    switch: str = ""


@dataclass(frozen=True, slots=True)
class SignalPath:
    """A way from an input to an output; nodes: all that have a say in what comes out."""

    input: Port
    output: Port
    nodes: frozenset[str]


def signal_paths(points: Points) -> tuple[SignalPath, ...]:
    """Every path of a circuit, in natural order of its ends."""
    loads, flows = _graphs(points)
    ports = _ports(points)
    reach = {port.node: _reach(flows, port.node) for port in ports}
    passive = {port.node: _passive(points, port.node) for port in ports}
    found = []
    for first in ports:
        for last in ports:
            if first.node == last.node or last.node not in reach[first.node] or first.node in reach[last.node]:
                continue
            if last.node in passive[first.node] or _better(last, ports, passive):
                continue
            if _better(first, ports, passive):
                continue
            nodes = frozenset(nx.ancestors(loads, last.node) | {last.node})
            found.append(SignalPath(first, last, nodes))
    return tuple(found)


def _better(port: Port, ports: Iterable[Port], passive: Mapping[str, frozenset[str]]) -> bool:
    """Whether a connector is joined to the same signal without anything that amplifies: a switch then is no end."""
    return not port.pin and any(other.pin and other.node in passive[port.node] for other in ports)


def _ports(points: Points) -> list[Port]:
    walks, plan = points.walks, points.plan
    found: dict[str, Port] = {}
    for node in sorted(plan.of, key=natural_key):
        told = [pin for net in walks.joined_by_cable(node) for pin in walks.on(net).get("connector", ())]
        pins = walks.leaves_board(node) or [pin for pin in told if pin.key in points.ends]
        if pins:
            found[node] = Port(node, pin=pins[0].key)
    for part in sorted(walks.circuit.parts.values(), key=lambda part: natural_key(part.key)):
        if part.kind in SWITCHED and part.fitted:
            nodes = {points.node(pin.net) for pin in part.pins if pin.role != "coil"}
            if any(node in found and found[node].pin for node in nodes):
                for node in sorted(nodes, key=natural_key):
                    if node in plan.of and node not in found and walks.count_on(node) > 1:
                        found[node] = Port(node, switch=part.key)
    return list(found.values())


def _graphs(points: Points) -> tuple[nx.DiGraph, nx.DiGraph]:
    """What has a say in what, electrically; and which way signals go."""
    loads, flows = nx.DiGraph(), nx.DiGraph()
    known = points.plan.known
    outputs = {piece.nodes[0] for piece in points.plan.pieces if piece.amplifier}
    for graph in (loads, flows):
        graph.add_nodes_from(sorted(points.plan.of, key=natural_key))
    for piece in points.plan.pieces:
        for graph, pairs in ((loads, _pairs(piece, False)), (flows, _pairs(piece, True))):
            for a, b in pairs:
                if a not in known and b not in known and a != b and (piece.amplifier or b not in outputs):
                    graph.add_edge(a, b)
    return loads, flows


def _pairs(piece: Piece, directed: bool) -> tuple[tuple[str, str], ...]:
    if piece.alternating:
        a, b = piece.nodes
        return (a, b), (b, a)
    if directed and len(piece.nodes) == 3:  # collector, base, emitter: nothing to speak of goes back to the base
        collector, base, emitter = piece.nodes
        return (base, collector), (base, emitter), (emitter, collector)
    if any(name.startswith("contact ") for name in piece.varies):
        return ()
    return piece.pulls


def _passive(points: Points, node: str) -> frozenset[str]:
    """Nodes joined to one by parts that do not amplify; an amplifier's output is got to and not passed."""
    graph = nx.Graph()
    graph.add_node(node)
    outputs = {piece.nodes[0] for piece in points.plan.pieces if piece.amplifier}
    for piece in points.plan.pieces:
        if len(piece.nodes) == 2 and not any(name.startswith("contact ") for name in piece.varies):
            a, b = piece.nodes
            if a not in points.plan.known and b not in points.plan.known:
                graph.add_edge(a, b)
    seen, todo = {node}, [node]
    while todo:
        for other in graph.neighbors(todo.pop()):
            if other not in seen:
                seen.add(other)
                if other not in outputs:
                    todo.append(other)
    return frozenset(seen)


def _reach(graph: nx.DiGraph, node: str) -> frozenset[str]:
    return frozenset(nx.descendants(graph, node) | {node})
