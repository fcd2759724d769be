"""What an output stage does when it is driven: heat, currents and volts of its parts with a load, and shorted.

The way of the signal into the stage is looked for from its output backwards; the path is then moved through what it can
do as in `levels`, at two ends: all that lets the stage do least (low supply, little current gain, junctions that want
many volts in the transistors and few in the diodes), and all that lets it do most. Two things that hold each other up
may do more than either end; the ends are an estimate.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from netcheck.circuit.model import Pin
from netcheck.ground.names import natural_key
from netcheck.physics.devices import NOMINAL, Setting, Spread, figure
from netcheck.physics.drives import renamed
from netcheck.physics.levels import Driven, drive
from netcheck.physics.network.elements import Capacitor, Element, OperationalAmplifier
from netcheck.physics.network.operating import Network, NoOperatingPoint, operating_point, terminals
from netcheck.physics.pathmodel import UNREAD, PathModel, path_model, pieces_at
from netcheck.physics.points import Points, Range, currents_of
from netcheck.physics.ports import Port, SignalPath, Ways

MOST_NODES = 80
WITH_COILS = frozenset({"relay", "transformer", "inductor"})
MOST_INPUTS = 4  # ways into a stage that are tried
EFFORT = 20_000

Reasons = tuple[str, ...]


QUANTITIES: Mapping[str, Callable[[Driven, str], float]] = {
    "watts": lambda driven, name: driven.worst(name)[0],
    "amps": lambda driven, name: driven.most_amps(name),
    "volts": lambda driven, name: driven.most_volts(name),
}


@dataclass(frozen=True)
class Work:
    """A stage driven with one load, at its least and at its most.

    Attributes:
        names: parts of the stage -> elements of the model, which may be another stage of the same structure.
        found: what was asked for of the model, shared by all stages of its structure.
    """

    model: PathModel
    least: Driven
    most: Driven
    names: Mapping[str, str]
    found: dict[tuple[str, str], Range] = field(default_factory=dict)

    def of_part(self, quantity: str, part: str) -> Range | None:
        """The most mean watts, peak amps or most volts of a part; None where it is not in the path."""
        name = self.names.get(part)
        if name is None or name not in self.least.watts:
            return None
        if (quantity, name) not in self.found:
            value = QUANTITIES[quantity]
            self.found[quantity, name] = _over(value(self.least, name), value(self.most, name))
        return self.found[quantity, name]

    @property
    def swing(self) -> Range:
        """Peak volts of the largest sine."""
        return _over(self.least.level.volts * math.sqrt(2), self.most.level.volts * math.sqrt(2))


def _over(one: float, other: float) -> Range:
    return Range((one + other) / 2, min(one, other), max(one, other))


class StageWork:
    """Output stages of a circuit, each driven when it is first asked for and once for all that are the same."""

    def __init__(self, points: Points, spread: Spread) -> None:
        self.points = points
        self.settings = (
            Setting(supply=-1, diodes=-1, transistors=1, gain=-1, fets=1),
            Setting(supply=1, diodes=1, transistors=-1, gain=1, fets=-1, kelvin=spread.hot),
        )
        self._models: dict[str, PathModel | Reasons] = {}
        self._driven: dict[tuple[str, float], Work | Reasons] = {}

    @cached_property
    def ways(self) -> Ways:
        """Which way signals go."""
        return Ways(self.points)

    def driven(self, net: str, ohms: float) -> Work | Reasons:
        """The stage whose output is on a net, driven with a load.

        Args:
            ohms: infinite for none, 0 for a short.
        """
        asked = (self.points.node(net), ohms)
        if asked not in self._driven:
            made = self.model(net)
            self._driven[asked] = made if isinstance(made, tuple) else self._shared(made, ohms)
        return self._driven[asked]

    def _shared(self, made: PathModel, ohms: float) -> Work | Reasons:
        """What a path does, worked out once for all of its structure."""
        key = ("worked", made.structure.key, ohms)
        kept: Work | Reasons | None = self.points.kept.get(key)  # type: ignore[assignment]
        if kept is None:
            kept = self.points.kept[key] = self._work(made, ohms)
        if isinstance(kept, tuple) or kept is None or kept.model is made:
            return kept or ()
        if kept.model.renaming(made) is None:
            return self._work(made, ohms)
        names = dict(zip(made.structure.names, kept.model.structure.names, strict=True))
        return replace(kept, names=names)

    def limit(self, net: str, ohms: float) -> str | Reasons:
        """What ends the swing of a stage at its least, a clause that speaks of its own parts."""
        work, made = self.driven(net, ohms), self.model(net)
        if isinstance(work, tuple) or isinstance(made, tuple):
            return work if isinstance(work, tuple) else ()
        names = work.model.renaming(made)
        return (renamed(self.points, work.least, work.model, made, names) if names else work.least).level.limit

    def _work(self, made: PathModel, ohms: float) -> Work | Reasons:
        ends = []
        for setting in self.settings:
            moved = self._at(made, setting)
            found = moved if isinstance(moved, tuple) else drive(self.points, moved, ohms)
            if isinstance(found, tuple):
                return found
            ends.append(found)
        return Work(made, ends[0], ends[1], {name: name for name in made.structure.names})

    def _at(self, made: PathModel, setting: Setting) -> PathModel | Reasons:
        """The path at another setting, at rest there: capacitors hold what they are then charged to."""
        other = path_model(self.points, made.path, setting)
        if isinstance(other, tuple):
            return other
        known = {
            node: self.points.plan.known[node][1 + setting.supply] if node in self.points.plan.known else volts
            for node, volts in other.network.known.items()
        }
        steady = Network(tuple(e for e in other.network.elements if not isinstance(e, Capacitor)), known)
        try:
            point = operating_point(steady, made.point.volts, EFFORT)
        except NoOperatingPoint:
            return ("the operating point at the ends of what varies does not settle",)
        volts = {**other.point.volts, **point.volts}
        amps = {element.name: currents_of(element, volts) for element in other.network.elements}
        rest = replace(point, volts=volts, currents=amps)
        elements = tuple(self._delivering(other, one, setting.gain) for one in other.network.elements)
        return replace(other, network=Network(elements, known), point=rest)

    def _delivering(self, made: PathModel, element: Element, way: int) -> Element:
        """An amplifier that delivers its usual current at the least end, all that its sheet tells at the other."""
        if not isinstance(element, OperationalAmplifier) or element.model.most_amps is None:
            return element
        record = self.points.walks.circuit.parts[made.part_of[element.name]].record
        most = figure(record, "short_circuit_current", max(way, 0)) or element.model.most_amps
        return replace(element, model=replace(element.model, most_amps=max(most, element.model.most_amps)))

    # The way into a stage

    def model(self, net: str) -> PathModel | Reasons:
        """The path that leads into the stage whose output is on a net and on to its socket; kept."""
        node = self.points.node(net)
        if node not in self._models:
            self._models[node] = self._modelled(node)
        return self._models[node]

    def _modelled(self, node: str) -> PathModel | Reasons:
        if node not in self.points.plan.of:
            return ("the output of the stage is on a supply",)
        sink, joined = self._sink(node)
        nodes = self._nodes(sink.node, joined)
        if len(nodes) > MOST_NODES:
            return (f"more than {MOST_NODES} nodes have a say in the stage",)
        unread = self._unread(nodes)
        if unread:
            return unread
        inputs = self._inputs(node, nodes)
        if not inputs:
            return ("nothing is seen through which the stage is driven",)
        why: Reasons = ()
        for port in inputs[:MOST_INPUTS]:
            made = path_model(self.points, SignalPath(port, sink, nodes, joined), NOMINAL)
            if not isinstance(made, tuple) and _passes(made):
                return made
            why = why or (made if isinstance(made, tuple) else ("nothing of the input reaches the stage",))
        return why

    def _unread(self, nodes: frozenset[str]) -> Reasons:
        """Parts of a path whose value cannot be read."""
        parts = self.points.walks.circuit.parts
        keys = {
            piece.part
            for piece in pieces_at(self.points, nodes)
            if any(name.startswith(UNREAD) for name in piece.varies) and parts[piece.part].kind not in WITH_COILS
        }
        found = sorted(keys, key=natural_key)
        return tuple(f"{self.points.said(parts[key])} has the value '{parts[key].value.text}'" for key in found)

    def _sink(self, node: str) -> tuple[Port, frozenset[str]]:
        """The socket that an output leads to, and the contacts on the way; the output itself where there is none."""
        reached = self._passively(node)
        found = []
        for at in sorted(reached, key=natural_key):
            pins = self._contacts(at)
            if pins:
                found.append((len(reached[at]), Port(at, pin=pins[0].key), reached[at]))
        if not found:
            return Port(node), frozenset()
        _, port, joined = min(found, key=lambda one: one[0])
        return port, joined

    def _contacts(self, node: str) -> Sequence[Pin]:
        """Pins of connectors on a node by which a signal comes or goes, as far as is seen or told."""
        walks = self.points.walks
        return walks.leaves_board(node) or [
            pin
            for one in walks.joined_by_cable(node)
            for pin in walks.on(one).get("connector", ())
            if pin.key in self.points.ends
        ]

    def _passively(self, node: str) -> dict[str, frozenset[str]]:
        """Nodes that an output feeds without anything that amplifies, and the contacts that must be closed for it."""
        found: dict[str, frozenset[str]] = {node: frozenset()}
        todo = deque([node])
        while todo:
            at = todo.popleft()
            for other, contact, active in self.ways.flows.get(at, ()):
                if not active and other not in found and other not in self.ways.outputs:
                    found[other] = found[at] | {contact} if contact else found[at]
                    (todo.append if contact else todo.appendleft)(other)
        return found

    def _nodes(self, node: str, joined: frozenset[str]) -> frozenset[str]:
        """All nodes that have a say in one, with some contacts closed; as `Ways.nodes`, its cost that of the path."""
        seen, todo = {node}, [node]
        while todo and len(seen) <= 4 * MOST_NODES:
            at = todo.pop()
            others = set(self.ways.before.get(at, ()))
            if joined:
                for piece in pieces_at(self.points, (at,)):
                    if joined & piece.varies:
                        others |= set(piece.nodes)
            for other in others - seen:
                if other not in self.ways.aside:
                    seen.add(other)
                    todo.append(other)
        return frozenset(seen)

    @cached_property
    def _backwards(self) -> dict[str, list[tuple[str, bool]]]:
        found: dict[str, list[tuple[str, bool]]] = {}
        for a, steps in self.ways.flows.items():
            for b, _, active in steps:
                found.setdefault(b, []).append((a, active))
        return found

    def _inputs(self, node: str, nodes: frozenset[str]) -> list[Port]:
        """Nodes from which the stage is driven: those at sockets first, else inputs of what drives it."""
        before = self._driving(node)
        away = self.ways.reach(node)
        free = [at for at in sorted(before & nodes, key=natural_key) if at not in away]
        sockets = [Port(at, pin=pins[0].key) for at in free if (pins := self._contacts(at))]
        return sockets + [Port(at) for at in self._entries(free)]

    def _driving(self, node: str) -> set[str]:
        """Nodes from which something amplifies on the way to a node."""
        seen, todo = {(node, False)}, deque([(node, False)])
        while todo:
            at, amplified = todo.popleft()
            for other, active in self._backwards.get(at, ()):
                state = (other, amplified or active)
                if state not in seen:
                    seen.add(state)
                    todo.append(state)
        return {at for at, amplified in seen if amplified}

    def _entries(self, free: Sequence[str]) -> list[str]:
        """Of several nodes those that something with an amplifier input hangs on: where no socket is seen."""
        plus = {piece.nodes[1] for piece in self.points.plan.pieces if piece.amplifier}
        return [at for at in free if at in plus]


def _passes(made: PathModel) -> bool:
    """Whether there is anything between the ends of a path that could pass a signal."""
    ends = {made.path.input.node, made.path.output.node}
    touched = {node for element in made.network.elements for node in terminals(element)}
    return ends <= touched
