"""Blocks of a circuit that are the same at every end of what varies: solved once, whatever their names.

Two blocks are alike when their elements, in order, have the same figures nominally and at each end, between nodes that
correspond; known nodes correspond when they have the same three volts, nodes of earlier blocks when these are alike.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass

from netcheck.physics.blocks import Block, Plan
from netcheck.physics.devices import NOMINAL, Setting
from netcheck.physics.modelling import Piece
from netcheck.physics.network.elements import Element
from netcheck.physics.structure import figures_of

# Names of what varies that mean the same in every block; positions and contacts are those of one part.
SHARED = frozenset({"supply", "heat", "junctions", "gain", "fets", "bias", "outside"})
Make = Callable[[Piece, str, int, Setting], Element]


@dataclass(frozen=True)
class Alike:
    """A block among those that are alike: the number of the first of them, and its own nodes in order of mention."""

    first: int
    nodes: tuple[str, ...]


class Likeness:
    """Which blocks of a plan are alike; found in their order, as far as is asked.

    Args:
        element: gives the element of a piece at an end of what varies. options: the ends of one thing that varies.
    """

    def __init__(self, plan: Plan, element: Make, options: Callable[[str], tuple[Setting, ...]]) -> None:
        self.plan, self.element, self.options = plan, element, options
        self.found: list[Alike | None] = []
        self._first: dict[Hashable, int] = {}
        self._signs: dict[str, Hashable] = {}

    def of(self, number: int) -> Alike | None:
        """A block among those that are alike; None where it varies with something of its own or has no solution."""
        while len(self.found) <= number:
            self.found.append(self._placed(self.plan.blocks[len(self.found)]))
        return self.found[number]

    def label(self, node: str) -> Hashable | None:
        """What a node is in any block like its own."""
        if node in self.plan.known:
            return self.plan.known[node]
        number = self.plan.of.get(node)
        alike = self.of(number) if number is not None else None
        if alike is None or node not in alike.nodes:
            return None
        return alike.first, alike.nodes.index(node)

    def key(self, what: Hashable, nodes: Sequence[str], pieces: Sequence[Piece]) -> Hashable | None:
        """What a quantity of nodes and pieces is, names aside; None where it is one of its own."""
        labels = tuple(self.label(node) for node in nodes)
        if None in labels or any(not piece.varies <= SHARED for piece in pieces):
            return None
        return what, labels, tuple(self._sign(piece) for piece in pieces)

    def _sign(self, piece: Piece) -> Hashable:
        """The figures of a piece, nominal and at each end."""
        if piece.name not in self._signs:
            nominal = self.element(piece, "", 0, NOMINAL)
            ends = tuple(
                (name, figures_of(self.element(piece, name, number, setting)))
                for name in sorted(piece.varies)
                for number, setting in enumerate(self.options(name))
            )
            self._signs[piece.name] = type(nominal).__name__, figures_of(nominal), ends
        return self._signs[piece.name]

    def _placed(self, block: Block) -> Alike | None:
        if block.reasons or not block.varies <= SHARED:
            return None
        mine, order = set(block.nodes), dict[str, int]()
        lines = []
        for piece in block.pieces:
            labels: list[Hashable] = []
            for node in piece.nodes:
                label = order.setdefault(node, len(order)) if node in mine else self._before(block, node)
                if label is None:
                    return None
                labels.append(label)
            lines.append((self._sign(piece), tuple(labels)))
        nodes = (*order, *(node for node in block.nodes if node not in order))
        first = self._first.setdefault((tuple(lines), len(nodes), block.varies), block.number)
        return Alike(first, nodes)

    def _before(self, block: Block, node: str) -> Hashable | None:
        """A known node, or one of an earlier block."""
        if node in self.plan.known:
            return self.plan.known[node]
        number = self.plan.of.get(node)
        alike = self.found[number] if number is not None and number < block.number else None
        return None if alike is None or node not in alike.nodes else (alike.first, alike.nodes.index(node))


def told_of(alike: Alike, first: Alike, values: Mapping[str, float]) -> dict[str, float]:
    """Volts of the first of some blocks that are alike, told of another; nodes that nothing sets are in neither."""
    pairs = zip(alike.nodes, first.nodes, strict=True)
    return {node: values[other] for node, other in pairs if other in values}
