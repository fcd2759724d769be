"""A circuit as a networkx graph: parts and nets are nodes, each pin of a fitted part is an edge."""

from __future__ import annotations

import networkx as nx

from netcheck.circuit.model import Circuit


def graph_of(circuit: Circuit) -> nx.Graph:
    """The graph: `sort` of a node is 'part' or 'net', `kind` that of the part; an edge has the numbers of its pins."""
    graph = nx.Graph()
    graph.add_nodes_from(circuit.nets, sort="net")
    for part in circuit.parts.values():
        if part.fitted:
            graph.add_node(part.key, sort="part", kind=part.kind)
            for pin in part.pins:
                if not graph.has_edge(part.key, pin.net):
                    graph.add_edge(part.key, pin.net, pins=[])
                graph.edges[part.key, pin.net]["pins"].append(pin.number)
    return graph
