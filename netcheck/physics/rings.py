"""The smallest independent rings of a graph whose conductors are nodes between the nets that they join.

Pure graph work; knows of no circuit. A set of independent rings is not unique in general and depends on the order in
which a graph was built. Here it is made unique: rings are weighed by their weights, then by the number of conductors,
then by which conductors they are (each stands for a binary digit of its own, in natural order of keys). No two rings
weigh the same then, and there is exactly one lightest set.

Source: J. D. Horton, "A polynomial-time algorithm to find the shortest cycle basis of a graph", SIAM J. Comput. 16
(1987), 358-366 (from memory); roots can be limited to nodes that every ring passes, here the nets.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Mapping, Sequence

from netcheck.ground.names import natural_key

# A block of the graph with more edges than this gets the rings that its lightest tree leaves: unique as well, quickly
# found, but not always the smallest.
MOST_EDGES = 160

Ring = tuple[tuple[str, ...], tuple[str, ...]]
_Node = tuple[str, str]  # ('net' or 'conductor', key)
_Edge = tuple[str, str]  # conductor, net
_Weight = tuple[int, int, int]


def smallest_rings(conductors: Mapping[str, Sequence[str]], weights: Mapping[str, int]) -> list[Ring]:
    """Independent rings of least weight.

    Args:
        conductors: the nets that each joins, two or more. weights: of each, not negative.

    Returns:
        Each ring as its nets and its conductors, in the order in which one goes round: from the first net in natural
        order over the lesser of its two conductors.

    >>> smallest_rings({"R1": ["GND", "GNDA"], "R2": ["GNDA", "GND"]}, {"R1": 0, "R2": 10})
    [(('GND', 'GNDA'), ('R1', 'R2'))]
    """
    if len(conductors) < 2:
        return []
    import networkx as nx  # takes a tenth of a second: only where there may be rings

    graph = nx.Graph()
    for key, nets in conductors.items():
        graph.add_edges_from((("conductor", key), ("net", net)) for net in nets)
    rings: list[Ring] = []
    for block in nx.biconnected_components(nx.k_core(graph, 2)):
        if len(block) < 3:
            continue
        inside = graph.subgraph(block)
        edges = [(a[1], b[1]) if a[0] == "conductor" else (b[1], a[1]) for a, b in inside.edges]
        edges.sort(key=lambda edge: (natural_key(edge[0]), natural_key(edge[1])))
        found = _lightest(edges, weights) if len(edges) <= MOST_EDGES else _left_by_tree(edges, weights)
        rings.extend(_walk(ring) for ring in found)
    return sorted(rings, key=lambda ring: [natural_key(key) for key in sorted(ring[1], key=natural_key)])


def _lightest(edges: list[_Edge], weights: Mapping[str, int]) -> Iterator[list[_Edge]]:
    """Horton's candidates, lightest first, each kept that is not a sum of rings kept before."""
    neighbours = _neighbours(edges)
    candidates: dict[int, _Weight] = {}
    for root in sorted({net for _, net in edges}):
        paths = _lightest_paths(neighbours, ("net", root), weights)
        for bit, (conductor, net) in enumerate(edges):
            a, b = paths["conductor", conductor], paths["net", net]
            mask = a[2] ^ b[2] ^ (1 << bit)
            if not a[2] & b[2] and not (a[2] | b[2]) >> bit & 1:
                candidates[mask] = (a[0] + b[0] + weights[conductor], a[1] + b[1] + 1, mask)
    kept: dict[int, int] = {}
    for mask in sorted(candidates, key=lambda mask: candidates[mask]):
        rest = mask
        while rest and rest.bit_length() in kept:
            rest ^= kept[rest.bit_length()]
        if rest:
            kept[rest.bit_length()] = rest
            yield [edge for bit, edge in enumerate(edges) if mask >> bit & 1]


def _neighbours(edges: list[_Edge]) -> dict[_Node, list[tuple[_Node, int]]]:
    found: dict[_Node, list[tuple[_Node, int]]] = {}
    for bit, (conductor, net) in enumerate(edges):
        found.setdefault(("conductor", conductor), []).append((("net", net), bit))
        found.setdefault(("net", net), []).append((("conductor", conductor), bit))
    return found


def _lightest_paths(
    neighbours: Mapping[_Node, list[tuple[_Node, int]]], root: _Node, weights: Mapping[str, int]
) -> dict[_Node, _Weight]:
    """Weight, number and set of edges of the lightest path to every node; the set as binary digits."""
    found: dict[_Node, _Weight] = {}
    queue: list[tuple[_Weight, _Node]] = [((0, 0, 0), root)]
    while queue:
        weight, node = heapq.heappop(queue)
        if node in found:
            continue
        found[node] = weight
        for near, bit in neighbours[node]:
            if near not in found:
                step = weights[node[1] if node[0] == "conductor" else near[1]]
                heapq.heappush(queue, ((weight[0] + step, weight[1] + 1, weight[2] | 1 << bit), near))
    return found


def _left_by_tree(edges: list[_Edge], weights: Mapping[str, int]) -> Iterator[list[_Edge]]:
    """The ring that each edge closes which the lightest tree leaves over."""
    import networkx as nx

    tree = nx.Graph()
    left = []
    pieces: nx.utils.UnionFind = nx.utils.UnionFind()
    for conductor, net in sorted(edges, key=lambda edge: weights[edge[0]]):  # stable: edges stand in natural order
        a, b = ("conductor", conductor), ("net", net)
        if pieces[a] == pieces[b]:
            left.append((conductor, net))
        else:
            pieces.union(a, b)
            tree.add_edge(a, b)
    above: dict[_Node, _Node] = {}
    depth: dict[_Node, int] = {}
    for root in tree:
        if root not in depth:
            depth[root] = 0
            for parent, node in nx.bfs_edges(tree, root):
                above[node], depth[node] = parent, depth[parent] + 1
    for conductor, net in left:
        a, b = ("conductor", conductor), ("net", net)
        ring = [(conductor, net)]
        while a != b:
            lower = a if depth[a] >= depth[b] else b
            upper = above[lower]
            ring.append((lower[1], upper[1]) if lower[0] == "conductor" else (upper[1], lower[1]))
            a, b = (upper, b) if lower == a else (a, upper)
        yield ring


def _walk(ring: list[_Edge]) -> Ring:
    """A ring's nets and conductors in the order in which one goes round."""
    neighbours = _neighbours(ring)
    here: _Node = min((node for node in neighbours if node[0] == "net"), key=lambda node: natural_key(node[1]))
    nets: list[str] = [here[1]]
    conductors: list[str] = []
    before: _Node | None = None
    for _ in range(len(ring) - 1):
        ways = [near for near, _ in neighbours[here] if near != before]
        before, here = here, min(ways, key=lambda node: natural_key(node[1]))
        (nets if here[0] == "net" else conductors).append(here[1])
    return tuple(nets), tuple(conductors)
