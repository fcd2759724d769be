"""Where signals come in and go out, and which way they take from an input to an output.

Of an assembly that tells its inputs and outputs, the paths go from each input to each output that it can get to. Of
other boards they are inferred: a port is a signal net with a connector on it, and it is an input to an output if
something that amplifies passes on what comes in there, and nothing on the board drives it. Contacts of switches and
relays whose position is not given are taken as closed where the way leads through them, as few as will do.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from netcheck.circuit.conduction import SWITCHED
from netcheck.circuit.model import Part
from netcheck.ground.names import natural_key
from netcheck.ground.units import Quantity
from netcheck.physics.devices import NOMINAL
from netcheck.physics.modelling import Piece
from netcheck.physics.network.elements import Capacitor, Resistor

if TYPE_CHECKING:  # the solver and numpy behind it are imported when the first number is asked for
    from netcheck.physics.points import Points

MOST_PATHS = 8
MOST_PORTS = 600  # a board with more pins on connectors than this is no audio board
MOST_INFERRED = 600
MOST_STEPS = 200_000  # of all walks from ports; about half a second. What is found until then counts
# Feedback through no more than this holds a node as an output does: the load hangs on it. Common practice, no source.
STIFF_OHMS = 220.0
# What stands between an amplifier and its socket: no more ohms, no fewer farads. Common practice, no source.
OUTPUT_OHMS, COUPLING_FARADS = 1000.0, 220e-9
CONTACT = "contact "

Flow = Mapping[str, Sequence[tuple[str, str, bool]]]


@dataclass(frozen=True, slots=True)
class Port:
    """A node at the edge of a board.

    Attributes:
        node: see `Points`. pin: key of the connector's pin, or ''. switch: key of the switch before it, or ''.
        back: the node of the pin by which a balanced signal returns, '' where it returns by a ground.
    """

    node: str
    pin: str = ""
    switch: str = ""
    back: str = ""


@dataclass(frozen=True, slots=True)
class Told:
    """An input or output that an assembly file tells.

    Attributes:
        pin, back: keys of pins, `back` is '' where none is told. source_ohms, largest_volts (rms): of the source.
        loads: ohms. cable_farads: of the lead behind. wanted_volts: level wanted (rms). sensitivity: dB/mW or dB/V.
    """

    pin: str
    back: str = ""
    source_ohms: float | None = None
    largest_volts: float | None = None
    loads: tuple[float, ...] = ()
    cable_farads: float | None = None
    wanted_volts: float | None = None
    sensitivity: Quantity | None = None


@dataclass(frozen=True, slots=True)
class SignalPath:
    """A way from an input to an output.

    Attributes:
        nodes: all that have a say in what comes out. joined: names of contacts taken as closed for it.
        source, sink: what is told of its ends; None on a board whose ends were inferred.
        doubt: why no way was found to an output that is told; then there is no input.
    """

    input: Port
    output: Port
    nodes: frozenset[str]
    joined: frozenset[str] = frozenset()
    source: Told | None = field(default=None, compare=False)
    sink: Told | None = field(default=None, compare=False)
    doubt: tuple[str, ...] = ()

    @property
    def declared(self) -> bool:
        """Whether its ends were told."""
        return self.sink is not None

    @property
    def key(self) -> str:
        """Keys of its ends, joined."""
        ends = (self.input.pin or self.input.node, self.output.pin or self.output.switch or self.output.node)
        return " + ".join(end for end in ends if end)


def signal_paths(points: Points, inputs: Sequence[Told] = (), outputs: Sequence[Told] = ()) -> tuple[SignalPath, ...]:
    """Every path of a circuit, in natural order of its ends; those between told ends where such are told."""
    ways = ways_of(points)
    if inputs and outputs:
        return tuple(_declared(ways, inputs, outputs))
    return tuple(_inferred(ways))


def ways_of(points: Points) -> Ways:
    """The ways of a circuit, found once."""
    if "ways" not in points.kept:
        points.kept["ways"] = Ways(points)
    found = points.kept["ways"]
    assert isinstance(found, Ways)
    return found


class Ways:
    """Which node has a say in which, and which way signals go; contacts of unknown position are ways, too."""

    def __init__(self, points: Points) -> None:
        self.points = points
        walks, plan = points.walks, points.plan
        nets = walks.circuit.nets
        quiet = {net for net, of in nets.items() if of.role != "signal"}
        self.aside = set(plan.known) | {walks.joined_by_cable(net)[0] for net in quiet}
        self.outputs = {piece.nodes[0] for piece in plan.pieces if piece.amplifier}
        self.held = self._held(plan.pieces)
        flows: dict[str, list[tuple[str, str, bool]]] = {}
        self.before: dict[str, set[str]] = {}
        for piece in plan.pieces:
            contact = next((name for name in piece.varies if name.startswith(CONTACT)), "")
            if contact and not self._one_pole(piece):
                continue
            for a, b, active in _flow(piece):
                if self._goes(piece, a, b):
                    flows.setdefault(a, []).append((b, contact, active))
            if not contact:
                for a, b in _pulls(piece):
                    if self._goes(piece, a, b):
                        self.before.setdefault(b, set()).add(a)
        self.flows: Flow = flows
        self._joined: dict[str, frozenset[str]] = {}
        self.steps = self.looked = 0  # of walks; capacitors that were looked at

    def _goes(self, piece: Piece, a: str, b: str) -> bool:
        return a not in self.aside and b not in self.aside and a != b and (piece.amplifier or b not in self.outputs)

    def _held(self, pieces: Iterable[Piece]) -> set[str]:
        """Inverting inputs that feedback holds: what comes there goes on into the amplifier only."""
        minus = {piece.nodes[2] for piece in pieces if piece.amplifier} - self.outputs
        driven = set(self.outputs)
        for piece in pieces:
            if len(piece.nodes) == 3 and not piece.amplifier:
                driven |= {piece.nodes[0], piece.nodes[2]}
        minus -= {node for node in minus if node in driven}
        for piece in pieces:
            if len(piece.nodes) == 2 and not piece.alternating and minus & set(piece.nodes):
                element = piece.make(NOMINAL)
                stiff = isinstance(element, Resistor) and element.ohms <= STIFF_OHMS
                if stiff and driven & set(piece.nodes):
                    minus -= set(piece.nodes)
        return minus

    def _one_pole(self, piece: Piece) -> bool:
        """Whether a contact is one of a single pole, as far as the numbers of pins tell.

        Two poles of three contacts each are numbered one after the other, or round the case: the first half of the
        numbers is one pole. Common practice, no source.
        """
        part = self.points.walks.circuit.parts[piece.part]
        pins = [pin for pin in part.pins if pin.role not in ("coil", "shield")]
        if len(pins) <= 3 or len(pins) % 3 or any(pin.unit for pin in pins):
            return True
        numbered = sorted(pins, key=lambda pin: natural_key(pin.number))
        pole: dict[str, set[int]] = {}
        for at, pin in enumerate(numbered):
            pole.setdefault(self.points.node(pin.net), set()).add(at // 3)
        a, b = piece.nodes
        return bool(pole.get(a, set()) & pole.get(b, set()))

    def is_driven(self, node: str) -> bool:
        """Whether an amplifier or an emitter drives a node, through no more than what usually stands in an output."""
        seen, todo = {node}, [node]
        while todo:
            at = todo.pop()
            if at in self.outputs or at in self._emitters:
                return True
            for other in self._near.get(at, ()):
                if other not in seen:
                    seen.add(other)
                    todo.append(other)
        return False

    @cached_property
    def _emitters(self) -> frozenset[str]:
        return frozenset(p.nodes[2] for p in self.points.plan.pieces if len(p.nodes) == 3 and not p.amplifier)

    @cached_property
    def _near(self) -> Mapping[str, Sequence[str]]:
        """Nodes joined by small resistors, contacts that are closed, and coupling capacitors."""
        found: dict[str, list[str]] = {}
        for piece in self.points.plan.pieces:
            if len(piece.nodes) != 2 or set(piece.nodes) & self.aside:
                continue
            element = piece.make(NOMINAL)
            small = isinstance(element, Resistor) and element.ohms <= OUTPUT_OHMS
            if small or (isinstance(element, Capacitor) and element.farads >= COUPLING_FARADS):
                a, b = piece.nodes
                found.setdefault(a, []).append(b)
                found.setdefault(b, []).append(a)
        return found

    def reach(self, node: str) -> dict[str, tuple[bool, frozenset[str]]]:
        """Nodes that a signal gets to: whether something amplifies on the way, and the contacts that must be closed.

        Of several ways that with fewest contacts counts; one that amplifies counts before one that does not.
        """
        best: dict[tuple[str, bool], frozenset[str]] = {(node, False): frozenset()}
        todo: deque[tuple[str, bool, frozenset[str]]] = deque([(node, False, frozenset())])
        while todo:
            at, amplified, closed = todo.popleft()
            self.steps += 1
            if best[at, amplified] != closed or self.steps > MOST_STEPS:
                continue
            for other, contact, active in self.flows.get(at, ()):
                if at in self.held and not active and at != node:
                    continue
                state, needs = (other, amplified or active), closed | {contact} if contact else closed
                if state not in best or len(needs) < len(best[state]):
                    best[state] = needs
                    (todo.append if contact else todo.appendleft)((*state, needs))
        found = {at: (False, closed) for (at, amplified), closed in best.items() if not amplified}
        return found | {at: (True, closed) for (at, amplified), closed in best.items() if amplified}

    def passive(self, node: str) -> frozenset[str]:
        """Nodes joined to one by parts that do not amplify; held nodes and amplifiers' outputs end it."""
        if node not in self._joined:
            seen, todo = {node}, [node]
            while todo:
                at = todo.pop()
                for other, _, active in self.flows.get(at, ()) if at == node or at not in self.held else ():
                    if not active and other not in seen:
                        seen.add(other)
                        todo.append(other)
            whole = frozenset(seen)
            alike = [one for one in whole if one not in self.held and one not in self.outputs]
            self._joined.update(dict.fromkeys(alike if node in alike else [node], whole))
        return self._joined[node]

    @cached_property
    def _capacitors(self) -> Mapping[str, tuple[int, ...]]:
        found: dict[str, list[int]] = {}
        for number, piece in enumerate(self.points.plan.pieces):
            if piece.alternating and not set(piece.nodes) & self.aside:
                for node in piece.nodes:
                    found.setdefault(node, []).append(number)
        return {node: tuple(numbers) for node, numbers in found.items()}

    @cached_property
    def conducting(self) -> frozenset[frozenset[str]]:
        """Pairs of nodes that something joins besides capacitors."""
        return frozenset(frozenset(p.nodes) for p in self.points.plan.pieces if len(p.nodes) == 2 and not p.alternating)

    def capacitors_at(self, nodes: Iterable[str]) -> list[int]:
        """Numbers of the pieces that are capacitors between two of the circuit's signals, with an end on the nodes."""
        return sorted({number for node in nodes for number in self._capacitors.get(node, ())})

    def leads(self, path: SignalPath, without: tuple[str, str]) -> bool:
        """Whether the output of a path is got to without what lies between two nodes."""
        pair = set(without)
        seen, todo = {path.input.node}, [path.input.node]
        while todo:
            at = todo.pop()
            for other, contact, active in self.flows.get(at, ()):
                if other in seen or ({at, other} == pair and not active) or (contact and contact not in path.joined):
                    continue
                if at in self.held and not active and at != path.input.node:
                    continue
                seen.add(other)
                todo.append(other)
        return path.output.node in seen

    def nodes(self, output: str, joined: frozenset[str]) -> frozenset[str]:
        """All nodes that have a say in one, with some contacts closed."""
        across: dict[str, set[str]] = {}
        for piece in self.points.plan.pieces if joined else ():
            if joined & piece.varies:
                a, b = piece.nodes
                across.setdefault(a, set()).add(b)
                across.setdefault(b, set()).add(a)
        seen, todo = {output}, [output]
        while todo:
            at = todo.pop()
            for other in self.before.get(at, set()) | across.get(at, set()):
                if other not in seen and other not in self.aside:
                    seen.add(other)
                    todo.append(other)
        return frozenset(seen)


def _flow(piece: Piece) -> Iterable[tuple[str, str, bool]]:
    """Which way signals go through a piece, and whether it amplifies them."""
    if piece.alternating or len(piece.nodes) == 2:
        a, b = piece.nodes
        return ((a, b, False), (b, a, False))
    if piece.amplifier:
        output, plus, minus = piece.nodes[:3]
        return ((plus, output, True), (minus, output, True))
    if len(piece.nodes) == 3:  # collector, base, emitter: nothing to speak of goes back to the base
        collector, base, emitter = piece.nodes
        return ((base, collector, True), (base, emitter, True), (emitter, collector, True))
    return tuple((a, b, False) for a, b in piece.pulls)


def _pulls(piece: Piece) -> tuple[tuple[str, str], ...]:
    if piece.alternating:
        a, b = piece.nodes
        return (a, b), (b, a)
    return piece.pulls


# Ends that are told


def _declared(ways: Ways, inputs: Sequence[Told], outputs: Sequence[Told]) -> Iterable[SignalPath]:
    points, pins = ways.points, ways.points.walks.circuit.pins

    def port(told: Told) -> Port:
        back = points.node(pins[told.back].net) if told.back else ""
        return Port(points.node(pins[told.pin].net), told.pin, back="" if back in ways.aside else back)

    reached = {told.pin: ways.reach(points.node(pins[told.pin].net)) for told in inputs}
    for sink in outputs:
        last, found = port(sink), False
        for source in inputs:
            first = port(source)
            if last.node in reached[source.pin] and first.node != last.node:
                found = True
                joined = reached[source.pin][last.node][1]
                nodes = ways.nodes(last.node, joined)
                if last.back:
                    nodes |= ways.nodes(last.back, joined)
                yield SignalPath(first, last, nodes, joined, source, sink)
        if not found:
            said = ways.points.walks.said(_part_of(ways, sink.pin))
            reason = f"no way is found from an input that is told to {said} pin {pins[sink.pin].number}"
            yield SignalPath(Port(""), last, frozenset({last.node}), sink=sink, doubt=(reason,))


def _part_of(ways: Ways, pin: str) -> Part:
    circuit = ways.points.walks.circuit
    return circuit.parts[circuit.pins[pin].part]


# Ends that are inferred


def _inferred(ways: Ways) -> Iterable[SignalPath]:
    ports = _ports(ways)
    reach = {port.node: ways.reach(port.node) for port in ports}
    passive = {port.node: ways.passive(port.node) for port in ports}
    plugs = {port.node for port in ports if port.pin}
    # A connector that is joined to the same signal without anything that amplifies: a switch then is no end.
    ports = [port for port in ports if port.pin or not (passive[port.node] & plugs)]
    at = {port.node: port for port in ports}
    many = 0
    for first in ports:
        if ways.is_driven(first.node):
            continue
        for node in sorted(at.keys() & reach[first.node].keys(), key=natural_key):
            last = at[node]
            amplified, joined = reach[first.node][node]
            if node == first.node or not amplified or node in passive[first.node]:
                continue
            if first.node in reach[node] and not ways.is_driven(node):  # which of the two is the output is not told
                continue
            many += 1
            if many > MOST_INFERRED:
                return
            yield SignalPath(first, last, ways.nodes(node, joined), joined)


def _ports(ways: Ways) -> list[Port]:
    points, walks = ways.points, ways.points.walks
    found: dict[str, Port] = {}
    for node in sorted(set(points.plan.of) - ways.aside, key=natural_key):
        pins = walks.leaves_board(node)
        if not pins and points.ends:
            on = (pin for net in walks.joined_by_cable(node) for pin in walks.on(net).get("connector", ()))
            pins = tuple(pin for pin in on if pin.key in points.ends)
        if pins:
            found[node] = Port(node, pin=pins[0].key)
    if len(found) > MOST_PORTS:
        return []
    for part in walks.circuit.parts.values():
        if part.kind not in SWITCHED or not part.fitted:
            continue
        nodes = sorted({points.node(pin.net) for pin in part.pins if pin.role != "coil"}, key=natural_key)
        if any(node in found and found[node].pin for node in nodes):
            for node in nodes:
                if node not in found and node in points.plan.of and node not in ways.aside and walks.count_on(node) > 1:
                    found[node] = Port(node, switch=part.key)
    return sorted(found.values(), key=lambda port: natural_key(port.node))
