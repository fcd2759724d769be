"""The smallest independent rings: right, and the same for every order."""

from __future__ import annotations

import random
import time

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.physics import rings
from netcheck.physics.rings import smallest_rings

PAIRS = st.lists(
    st.tuples(st.sampled_from("ABCDEF"), st.sampled_from("ABCDEF")).filter(lambda pair: pair[0] != pair[1]), max_size=14
)


def numbered(pairs: list[tuple[str, str]]) -> tuple[dict[str, tuple[str, str]], dict[str, int]]:
    conductors = {f"R{at}": pair for at, pair in enumerate(pairs)}
    return conductors, {key: at % 3 for at, key in enumerate(conductors)}


def independent(found: list[rings.Ring]) -> int:
    """Rank of rings as sums of conductors, two of the same being none."""
    rows = [sum(1 << int(key[1:]) for key in conductors) for _, conductors in found]
    rank = 0
    while rows:
        row = rows.pop()
        if row:
            rank += 1
            low = row & -row
            rows = [other ^ row if other & low else other for other in rows]
    return rank


@settings(max_examples=60, deadline=None)
@given(PAIRS, st.integers(0, 3))
def test_as_many_as_there_are_independent_ones_whatever_the_order(pairs: list[tuple[str, str]], seed: int) -> None:
    conductors, weights = numbered(pairs)
    found = smallest_rings(conductors, weights)
    graph = nx.MultiGraph(pairs)
    assert len(found) == len(pairs) - len(graph) + nx.number_connected_components(graph)
    assert independent(found) == len(found)
    mixed = [(key, tuple(reversed(nets))) for key, nets in conductors.items()]
    random.Random(seed).shuffle(mixed)
    assert smallest_rings(dict(mixed), weights) == found


@settings(max_examples=60, deadline=None)
@given(PAIRS)
def test_no_set_of_rings_weighs_less(pairs: list[tuple[str, str]]) -> None:
    """Against networkx, on graphs without parallel conductors, where it can be asked."""
    single = sorted({(min(pair), max(pair)) for pair in pairs})
    conductors, weights = numbered(single)
    graph = nx.Graph()
    for key, (a, b) in conductors.items():
        graph.add_edge(a, b, weight=weights[key], key=key)
    # first the weights, then the number of conductors
    for a, b, data in graph.edges(data=True):
        graph[a][b]["weight"] = 1000 * data["weight"] + 1

    def cost(keys: tuple[str, ...]) -> int:
        return sum(1000 * weights[key] + 1 for key in keys)

    expected = sum(_cost_of(graph, ring) for ring in nx.minimum_cycle_basis(graph, weight="weight"))
    assert sum(cost(keys) for _, keys in smallest_rings(conductors, weights)) == expected


def _cost_of(graph: nx.Graph, ring: list[str]) -> int:
    return sum(int(graph[a][b]["weight"]) for a, b in zip(ring, [*ring[1:], ring[0]], strict=True))


def test_a_ring_is_told_in_the_order_in_which_one_goes_round() -> None:
    conductors = {"R1": ("A", "B"), "R2": ("C", "D"), "R3": ("B", "C"), "R4": ("D", "A")}
    assert smallest_rings(conductors, dict.fromkeys(conductors, 0)) == [
        (("A", "B", "C", "D"), ("R1", "R3", "R2", "R4"))
    ]


def test_the_lightest_conductors_are_preferred() -> None:
    conductors = {"R1": ("A", "B"), "R2": ("A", "B"), "R3": ("A", "B")}
    found = smallest_rings(conductors, {"R1": 10, "R2": 0, "R3": 0})
    assert [keys for _, keys in found] == [("R1", "R2"), ("R2", "R3")]


def test_a_large_block_takes_the_way_by_the_tree_and_is_unique_too() -> None:
    conductors = {f"R{at}": ("A", "B") for at in range(3000)}
    weights = {key: int(key[1:]) % 7 for key in conductors}
    begun = time.perf_counter()
    found = smallest_rings(conductors, weights)
    assert time.perf_counter() - begun < 5
    assert len(found) == 2999
    assert all("R0" in keys for _, keys in found)
    mixed = list(conductors.items())
    random.Random(1).shuffle(mixed)
    assert smallest_rings(dict(mixed), weights) == found


@settings(max_examples=30, deadline=None)
@given(PAIRS)
def test_the_way_by_the_tree_gives_as_many_independent_rings(pairs: list[tuple[str, str]]) -> None:
    conductors, weights = numbered(pairs)
    exact = smallest_rings(conductors, weights)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rings, "MOST_EDGES", 0)
        found = smallest_rings(conductors, weights)
    assert len(found) == len(exact) == independent(found)
