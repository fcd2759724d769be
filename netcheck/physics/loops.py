"""The feedback loop of an amplifier: what it is made of, and how much of the output comes back.

The loop is opened at the source behind the amplifier's output resistance: the source gives one volt, and what comes
back between the inputs is the feedback factor, all ways of feedback together, with whatever loads the output.

Taken into the network are all nodes that the output has a say in and that have a say in it, and what loads these; the
outputs of amplifiers beyond are held, for they set their volts themselves. What hangs on the output alone is looked at
where its resistance counts.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from netcheck.circuit.conduction import TRANSISTORS, VARIABLE
from netcheck.circuit.model import Amplifier, Part
from netcheck.ground.names import natural_key
from netcheck.language.values import unite
from netcheck.physics.devices import NOMINAL, Setting
from netcheck.physics.modelling import ZERO, Blind, Piece
from netcheck.physics.network.elements import (
    Bipolar,
    Capacitor,
    CurrentSource,
    Diode,
    Element,
    Fet,
    OperationalAmplifier,
    Resistor,
)
from netcheck.physics.network.operating import Network, OperatingPoint, terminals
from netcheck.physics.network.response import Singular, SmallSignal
from netcheck.physics.pathmodel import UNREAD
from netcheck.physics.points import Points

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
Reasons = tuple[str, ...]

MOST_NODES = 80
MOST_VARYING = 12
STIFF_OHMS = 1e-3  # stands for an output without resistance
OUT_OF_REACH = -1e9  # how near an output comes to its rails where no rail is to act
ALIKE = 1e-3  # values no further apart than this part of them are told without saying why they differ
NO_FEEDBACK = 1e-9  # a feedback factor below this is none
_CURVED = (Diode, Bipolar, Fet)
_OPEN = ("position of ", "contact ", *UNREAD)


@dataclass(frozen=True, slots=True)
class Span:
    """A figure with its ends over everything that is left open, and why it has two."""

    low: float
    high: float
    doubts: Reasons = ()


def span(values: Iterable[float], doubts: Iterable[str] = ()) -> Span:
    """The ends of some values, and what makes them differ from the first.

    Args:
        doubts: for each value why it may be that one, '' for none; those are told that make a difference.
    """
    found = list(values)
    first = found[0]
    why = (
        text
        for value, text in zip(found, doubts, strict=False)
        if text and not math.isclose(value, first, rel_tol=ALIKE)
    )
    return Span(min(found), max(found), tuple(dict.fromkeys(why)))


@dataclass(frozen=True)
class LoopNetwork:
    """What an amplifier's loop is made of.

    Attributes:
        own: the amplifier's element at nominal. nodes: those to be found. pieces: all but its own.
        settings: nominal first, then the ends of all that varies, one thing at a time.
        doubts: for each setting why it may be that one, '' for the first. unread: which values cannot be read.
        volts: at rest, where something is curved. others: keys of further amplifiers in the network.
        transistors: keys of those in it.
    """

    amplifier: Amplifier
    own: OperationalAmplifier
    nodes: tuple[str, ...]
    pieces: tuple[Piece, ...]
    settings: tuple[Setting, ...]
    doubts: Reasons = ()
    unread: Reasons = ()
    volts: Mapping[str, float] = field(default_factory=dict)
    others: tuple[str, ...] = ()
    transistors: tuple[str, ...] = ()


class OpenedLoop:
    """A loop opened at the source behind the output resistance, to be asked at any frequency."""

    def __init__(self, small: SmallSignal, own: OperationalAmplifier, ohms: float) -> None:
        self._conductance, self._capacitance = small.conductance, small.capacitance
        self._right = small.injected(own.output) / ohms
        self._plus, self._minus = small.index.get(own.plus), small.index.get(own.minus)

    def feedback(self, frequencies: Real) -> Complex:
        """The feedback factor: volts at the - input less volts at the + input for one volt of the source.

        Raises:
            Singular: when the equations have no solution.
        """
        omega = 2 * math.pi * np.asarray(frequencies, dtype=float)
        matrices = self._conductance + 1j * omega[:, None, None] * self._capacitance
        try:
            states = np.linalg.solve(matrices, np.tile(self._right.astype(complex), (len(omega), 1))[:, :, None])
        except np.linalg.LinAlgError:
            raise Singular("the small-signal equations have no solution") from None
        if not np.all(np.isfinite(states)):
            raise Singular("the small-signal equations give no number")
        zero = np.zeros(len(omega), dtype=complex)
        minus = states[:, self._minus, 0] if self._minus is not None else zero
        plus = states[:, self._plus, 0] if self._plus is not None else zero
        return np.asarray(minus - plus)


class Loops:
    """The loops of all amplifiers of a circuit, each looked at when it is first asked for."""

    def __init__(self, points: Points) -> None:
        self.points = points
        self._networks: dict[tuple[str, bool, bool], LoopNetwork | Reasons] = {}
        self._opened: dict[object, OpenedLoop] = {}

    @cached_property
    def by_node(self) -> Mapping[str, tuple[Piece, ...]]:
        """Pieces on each node whose volts are not given."""
        found: dict[str, list[Piece]] = {}
        for piece in self.points.plan.pieces:
            for node in dict.fromkeys(piece.nodes):
                if node not in self.points.plan.known:
                    found.setdefault(node, []).append(piece)
        return {node: tuple(pieces) for node, pieces in found.items()}

    @cached_property
    def outputs(self) -> Mapping[str, str]:
        """Node of each amplifier's output -> key of the amplifier."""
        return {piece.nodes[0]: piece.name for piece in self.points.plan.pieces if piece.amplifier}

    @cached_property
    def _inputs(self) -> Mapping[str, tuple[str, str]]:
        """Nodes of the inputs of each amplifier, by the node of its output."""
        return {
            piece.nodes[0]: (piece.nodes[1], piece.nodes[2]) for piece in self.points.plan.pieces if piece.amplifier
        }

    @cached_property
    def _groups(self) -> Mapping[str, tuple[str, ...]]:
        """Nodes that have a say in each other, amplifiers' outputs taken as stiff; only groups of several."""
        return self._found_groups(direct=False)

    @cached_property
    def _direct_groups(self) -> Mapping[str, tuple[str, ...]]:
        """The same for direct current, which no capacitor passes."""
        return self._found_groups(direct=True)

    def _found_groups(self, direct: bool) -> Mapping[str, tuple[str, ...]]:
        graph = nx.DiGraph()
        for piece in self.points.plan.pieces:
            if not (direct and piece.alternating):
                graph.add_edges_from((a, b) for a, b in _pulls(piece) if piece.amplifier or b not in self.outputs)
        graph.remove_nodes_from([node for node in self.points.plan.known if node in graph])
        found: dict[str, tuple[str, ...]] = {}
        for group in nx.strongly_connected_components(graph):
            if len(group) > 1:
                found.update(dict.fromkeys(group, tuple(sorted(group, key=natural_key))))
        return found

    @cached_property
    def _blind(self) -> Mapping[str, Reasons]:
        """Nodes at which a part does something that is not known, with the reason."""
        found: dict[str, Reasons] = {node: (reason,) for node, reason in self.points.plan.silent.items()}
        for key in self.points.plan.blind_parts:
            for piece in self.points.plan.modeller.pieces(self.points.walks.circuit.parts[key]):
                if isinstance(piece, Blind):
                    found |= {node: unite(found.get(node, ()), (piece.reason,)) for node in piece.nodes}
        return found

    def said(self, amplifier: Amplifier) -> str:
        """An amplifier as it is named in reasons."""
        return f"{self.points.said(self.part(amplifier))}{amplifier.unit}"

    def part(self, amplifier: Amplifier) -> Part:
        """The package of an amplifier."""
        return self.points.walks.circuit.parts[amplifier.part]

    # The network

    def network(self, amplifier: Amplifier, inputs: bool = False, loads: bool = False) -> LoopNetwork | Reasons:
        """The network of an amplifier's loop, or why there is none.

        Args:
            inputs: with what hangs on the inputs of the amplifiers in it, for direct current. loads: with what the
                output drives, which matters only where its resistance does.
        """
        key = (amplifier.key, inputs, loads)
        if key not in self._networks:
            self._networks[key] = self._made(amplifier, inputs, loads)
        return self._networks[key]

    def _made(self, amplifier: Amplifier, inputs: bool, loads: bool) -> LoopNetwork | Reasons:
        mine = [piece for piece in self.points.plan.by_part.get(amplifier.part, ()) if piece.name == amplifier.key]
        own = mine[0].make(NOMINAL) if mine else None
        if not isinstance(own, OperationalAmplifier):
            unknown = f"what {self.said(amplifier)} does is not known"
            return (self.points.plan.blind_parts.get(amplifier.part) or unknown,)
        if own.output in self.points.plan.known:
            return (f"the output of {self.said(amplifier)} is joined to a supply or to ground",)
        nodes = self._nodes(own, inputs, loads)
        if len(nodes) > MOST_NODES:
            return (f"too many nodes depend on the output of {self.said(amplifier)}",)
        blind = unite(*(self._blind.get(node, ()) for node in sorted(nodes, key=natural_key)))
        if blind:
            return blind
        touched = {piece.name: piece for node in nodes for piece in self.by_node.get(node, ())}
        pieces = [one for one in touched.values() if one is not mine[0] and self._counts(one, nodes)]
        fed = _fed_by_transistors(pieces)
        pieces = [one for one in pieces if not ("outside" in one.varies and one.nodes[0] in fed)]
        pieces.sort(key=lambda piece: natural_key(piece.name))
        volts = self._volts(pieces)
        if isinstance(volts, tuple):
            return volts
        settings, doubts, unread = self._settings(pieces)
        if len(set(doubts)) > MOST_VARYING:
            return (f"too many positions and values are not given in the loop of {self.said(amplifier)}",)
        kinds = self.points.walks.circuit.parts
        return LoopNetwork(
            amplifier=amplifier,
            own=own,
            nodes=tuple(sorted(nodes, key=natural_key)),
            pieces=tuple(pieces),
            settings=settings,
            doubts=doubts,
            unread=unread,
            volts=volts,
            others=tuple(piece.name for piece in pieces if piece.amplifier),
            transistors=tuple(dict.fromkeys(one.part for one in pieces if kinds[one.part].kind in TRANSISTORS)),
        )

    def _nodes(self, own: OperationalAmplifier, inputs: bool, loads: bool) -> frozenset[str]:
        """The output and all that has a say in it and that it has a say in; no further than the bound."""
        found, todo = {own.output}, [own.output]
        groups = self._direct_groups if inputs else self._groups
        while todo and len(found) <= MOST_NODES:
            node = todo.pop()
            near = set(groups.get(node, ()))
            if node not in self.outputs or (loads and node == own.output):
                near |= {other for other in self._neighbours(node, inputs) if other not in self.outputs}
            if inputs and node in self._inputs:
                near |= {other for other in self._inputs[node] if other not in self.outputs}
            for other in near - found - self.points.plan.known.keys():
                found.add(other)
                todo.append(other)
        return frozenset(found)

    def _neighbours(self, node: str, direct: bool) -> Iterable[str]:
        """Nodes that a node has a say in through parts that do not amplify; `direct`: not through capacitors."""
        for piece in self.by_node.get(node, ()):
            if not piece.amplifier and not (direct and piece.alternating):
                yield from (b for a, b in _pulls(piece) if a == node)

    def _counts(self, piece: Piece, nodes: frozenset[str]) -> bool:
        """Whether a piece on these nodes belongs to the network.

        Of amplifiers only those do whose output is in it; of what joins an output to something beyond, nothing.
        """
        if piece.amplifier:
            return piece.nodes[0] in nodes
        beyond = [node for node in piece.nodes if node not in nodes and node not in self.points.plan.known]
        if beyond and all(node in self.outputs for node in piece.nodes if node in nodes):
            return False
        return not isinstance(piece.make(NOMINAL), CurrentSource)

    def _settings(self, pieces: Sequence[Piece]) -> tuple[tuple[Setting, ...], Reasons, Reasons]:
        """Nominal, then the ends of all that varies; for each why; and which values cannot be read."""
        names: dict[str, str] = {}
        for piece in pieces:
            names |= {name: piece.part for name in piece.varies if name.startswith(_OPEN) or name == "outside"}
        settings, doubts = [NOMINAL], [""]
        for name in sorted(names, key=natural_key)[: MOST_VARYING + 1]:
            for setting in self.points.options(name):
                settings.append(setting)
                doubts.append(self._doubt(name, names[name]))
        unread = dict.fromkeys(self._doubt(name, names[name]) for name in names if name.startswith(UNREAD))
        return tuple(settings), tuple(doubts), tuple(sorted(unread, key=natural_key))

    def _doubt(self, name: str, key: str) -> str:
        part = self.points.walks.circuit.parts[key]
        said = self.points.said(part)
        if name == "outside":
            return f"what {said} is joined to is not given"
        if name.startswith("position of "):
            return f"the setting of {said} is not given"
        if name.startswith("contact ") or part.kind not in VARIABLE | {"resistor"}:
            return f"the position of {said} is not given"
        return f"{said} has the value '{part.value.text}'" if part.value.text else f"{said} has no value"

    def _volts(self, pieces: Sequence[Piece]) -> Mapping[str, float] | Reasons:
        """Volts at rest, where something in the network is curved; none are needed otherwise."""
        if not any(isinstance(piece.make(NOMINAL), _CURVED) for piece in pieces):
            return {}
        found = self.points.volts_for(dict.fromkeys(node for piece in pieces for node in piece.nodes))
        return found if isinstance(found, tuple) else dict(found)

    # How much comes back

    def opened(
        self, loop: LoopNetwork, setting: Setting = NOMINAL, ohms: float = STIFF_OHMS, more: Sequence[Element] = ()
    ) -> OpenedLoop:
        """A loop, opened; the same for all stages that are built alike.

        Args:
            ohms: output resistance. more: what hangs on the network beside its own.
        """
        elements = [*self.elements(loop, setting), *more]
        elements.append(Resistor("source", loop.own.output, ZERO, ohms, noisy=False))
        key = _alike(elements, loop)
        if key not in self._opened:
            self._opened[key] = OpenedLoop(linear(elements, loop), loop.own, ohms)
        return self._opened[key]

    def elements(self, loop: LoopNetwork, setting: Setting) -> list[Element]:
        """The elements of a loop beside the amplifier itself, no output near its rails."""
        return [free(piece.make(setting)) for piece in loop.pieces]

    def noise_gain(self, amplifier: Amplifier, hertz: float) -> Span | Reasons:
        """One by the feedback factor at a frequency, its magnitude; infinite where nothing comes back."""
        loop = self.network(amplifier)
        if isinstance(loop, tuple):
            return loop
        at = np.array([hertz])
        try:
            found = [float(abs(self.opened(loop, one).feedback(at)[0])) for one in loop.settings]
        except Singular as singular:
            return (str(singular),)
        return span((1 / beta if beta > NO_FEEDBACK else math.inf for beta in found), loop.doubts)

    def loop_gain(self, amplifier: Amplifier, hertz: float = 0.0) -> Span | Reasons:
        """The gain round the loop at a frequency, its real part: below zero where the feedback is positive."""
        loop = self.network(amplifier)
        if isinstance(loop, tuple):
            return loop
        at, ohms = np.array([hertz]), loop.own.model.output_ohms
        try:
            found = [self.opened(loop, one, ohms).feedback(at)[0] for one in loop.settings]
        except Singular as singular:
            return (str(singular),)
        return span((loop.own.model.gain * float(beta.real) for beta in found), loop.doubts)


def linear(elements: Sequence[Element], loop: LoopNetwork) -> SmallSignal:
    """The linear network of a loop: all nodes that are not its own are held."""
    inside = set(loop.nodes)
    touched = dict.fromkeys(node for element in elements for node in terminals(element))
    volts = {node: loop.volts.get(node, 0.0) for node in touched}
    known = {node: volts[node] for node in touched if node not in inside} | {ZERO: 0.0}
    network = Network(tuple(elements), known, tuple(node for node in loop.nodes if node in volts))
    return SmallSignal(network, OperatingPoint(volts, {}))


def _pulls(piece: Piece) -> tuple[tuple[str, str], ...]:
    """Which node of a piece has a say in which; through capacitors too, and none of an amplifier's supplies."""
    if piece.alternating:
        a, b = piece.nodes
        return (a, b), (b, a)
    if piece.amplifier:
        return tuple((node, piece.nodes[0]) for node in dict.fromkeys(piece.nodes[1:3]) if node != piece.nodes[0])
    return piece.pulls


def _fed_by_transistors(pieces: Iterable[Piece]) -> frozenset[str]:
    """Nodes that a transistor sends its current into, through a resistor or straight: nobody joins a source there."""
    emitters = {piece.nodes[2] for piece in pieces if len(piece.nodes) == 3}
    two = [one for one in pieces if len(one.nodes) == 2 and not one.alternating and "outside" not in one.varies]
    beside = {node for piece in two if emitters & set(piece.nodes) for node in piece.nodes}
    return frozenset(emitters | beside)


def free(element: Element) -> Element:
    """An amplifier whose output never comes near its rails; anything else as it is."""
    if not isinstance(element, OperationalAmplifier):
        return element
    return replace(element, model=replace(element.model, from_plus=OUT_OF_REACH, from_minus=OUT_OF_REACH))


def _alike(elements: Sequence[Element], loop: LoopNetwork) -> object:
    """What two loops have in common that behave alike: elements and figures, nodes by their order of mention."""
    inside = set(loop.nodes)
    numbers: dict[str, int] = {}

    def number(node: str) -> object:
        if node not in inside:
            return round(loop.volts.get(node, 0.0), 5)
        return numbers.setdefault(node, len(numbers)) + 1j * round(loop.volts.get(node, 0.0), 5)

    ends = tuple(number(node) for node in (loop.own.output, loop.own.plus, loop.own.minus))
    rows = []
    for element in elements:
        figures = [getattr(element, name) for name in element.__slots__ if name not in _PLACES]
        rows.append((type(element).__name__, *(number(node) for node in terminals(element)), *figures))
    return ends, tuple(rows)


_PLACES = frozenset(
    {"name", "a", "b", "anode", "cathode", "collector", "base", "emitter", "drain", "gate", "source"}
    | {"output", "plus", "minus", "supply_plus", "supply_minus"}
)


def load_at(node: str, farads: float) -> Capacitor:
    """A capacitance from a node to ground, as a cable is one."""
    return Capacitor(f"load at {node}", node, ZERO, farads)
