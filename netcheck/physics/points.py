"""The operating point of a circuit as ranges: nominal, and at the ends of what a netlist leaves open.

Each thing that may vary (supply, temperature, junctions, current gain, thresholds, bias currents, the position of each
potentiometer and switch, what connectors are joined to, values that cannot be read) is taken to its ends with all else
nominal; what it changes is added up. Where the point moves smoothly that is the worst case; where two things hold each
other up it is an estimate.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from netcheck.circuit.model import Part, Pin
from netcheck.circuit.walk import Walks
from netcheck.ground.units import Unit, show
from netcheck.language.values import Unknown, unite
from netcheck.physics.blocks import Block, Plan, plan
from netcheck.physics.devices import NOMINAL, Setting, Spread
from netcheck.physics.likeness import Likeness, told_of
from netcheck.physics.modelling import MOST_TRACK_OHMS, OPEN_OHMS, WIRE_OHMS, ZERO, Piece
from netcheck.physics.network.elements import CurrentSource, Element, Fet, OperationalAmplifier, Resistor
from netcheck.physics.network.operating import (
    Network,
    NoOperatingPoint,
    operating_point,
    sensitivities,
    terminals,
)
from netcheck.physics.structure import structure
from netcheck.physics.usualloads import NO_USUAL_LOADS, UsualLoads
from netcheck.physics.volts import spoken_net

MOST_VARYING = 60  # things that vary in one block; a board of many switches is not computed in all their positions
MOST_NODES = 300
MOST_EFFORT = 200_000  # equations of curved elements that may be worked out for one block; about two seconds
# A node that leaks of a picoampere move this far has nothing that sets it: 50 mV at 50 Gohm.
LEAK_AMPS, LEAK_VOLTS = 1e-12, 0.05
MOST_VOLTS = 1e6  # a point beyond is no point of a circuit
MOST_AMPS, MOST_WATTS = 50.0, 1000.0  # nothing in audio gear at rest has more; common practice

Values = Mapping[str, float]
End = tuple[str, int, Setting]  # what varies, which of its ends, and the setting of that


@dataclass(frozen=True, slots=True)
class Range:
    """A quantity at rest: nominal, and between which ends it may lie."""

    nominal: float
    low: float
    high: float

    def told(self, what: str, unit: Unit, steady: float, share: float) -> float | Unknown:
        """One number where it varies little, else unknown with its ends.

        Args:
            what: named in the reason. steady: how far its ends may be apart. share: the same as a part of it.

        >>> from netcheck.ground.units import VOLT
        >>> Range(4.5, 4.49, 4.51).told("the DC voltage of A", VOLT, 0.05, 0.02)
        4.5
        >>> Range(4.5, 4.3, 4.7).told("the DC voltage of A", VOLT, 0.05, 0.02).reasons
        ('the DC voltage of A lies between 4.3 V and 4.7 V',)
        """
        if self.high - self.low <= max(steady, share * abs(self.nominal)):
            return self.nominal
        ends = f"{show(self.low, unit)} and {show(self.high, unit)}"
        return Unknown((f"{what} lies between {ends}",), self.low, self.high)


class Points:
    """Operating points of one circuit, each block solved when it is first asked for.

    Args:
        walks: the circuit with its cables. spread: how far things are from nominal.
        ends: keys of the pins where signals are told to come in and go out.
        tolerances: of parts by kind where none is stated, as fractions. loads: of outputs where none is told.
        supposed: volts of rails that are not known, for what does not depend on them.
    """

    def __init__(
        self,
        walks: Walks,
        spread: Spread,
        ends: frozenset[str] = frozenset(),
        tolerances: Mapping[str, float] = MappingProxyType({}),
        supposed: Mapping[str, float] = MappingProxyType({}),
        loads: UsualLoads = NO_USUAL_LOADS,
    ) -> None:
        self.walks, self.spread, self.ends = walks, spread, ends
        self.tolerances, self.loads = tolerances, loads
        self.plan: Plan = plan(walks, spread, supposed)
        self._solved: dict[tuple[int, str, int], Values | tuple[str, ...]] = {}
        self._options: dict[str, tuple[Setting, ...]] = {}
        self._made: dict[tuple[str, str], Element] = {}
        self._asked: dict[tuple[str, str, str], Range | Unknown] = {}
        self._shared: dict[Hashable, Range] = {}
        self.likeness = Likeness(self.plan, self.element, self.options)
        self.kept: dict[Hashable, object] = {}  # what was worked out, by the structure of what it is of

    # Voltages

    def node(self, net: str) -> str:
        """The node of a net."""
        return self.walks.joined_by_cable(net)[0]

    def volts(self, net: str) -> Range | Unknown:
        """DC volts of a net against the zero."""
        node = self.node(net)
        return self._once(("volts", node, ""), lambda: self._volts(node))

    def _volts(self, node: str) -> Range | Unknown:
        found = self.quantity((node,), lambda volts, setting: volts[node], "volts")
        if isinstance(found, Unknown):
            return found
        low, high = self._within(node)
        return Range(found.nominal, max(found.low, low), min(found.high, high))

    def _once(self, asked: tuple[str, str, str], look: Callable[[], Range | Unknown]) -> Range | Unknown:
        """What was asked before, by several rules, is not worked out again."""
        if asked not in self._asked:
            self._asked[asked] = look()
        return self._asked[asked]

    def element(self, piece: Piece, name: str, option: int, setting: Setting) -> Element:
        """The element of a piece at an end of one thing that varies, made once; most do not vary with it."""
        key = (piece.name, f"{name} {option}" if name in piece.varies else "")
        if key not in self._made:
            self._made[key] = piece.make(setting if key[1] else NOMINAL)
        return self._made[key]

    def across(self, a: str, b: str) -> Range | Unknown:
        """DC volts from net a to net b, both at the same time."""
        first, second = self.node(a), self.node(b)
        if first == second:
            return Range(0.0, 0.0, 0.0)
        return self._once(
            ("across", first, second),
            lambda: self.quantity((first, second), lambda volts, setting: volts[first] - volts[second], "across"),
        )

    def amps(self, pin: Pin) -> Range | Unknown:
        """Direct current into a pin of a modelled part."""
        return self._once(("amps", pin.key, ""), lambda: self._amps(pin))

    def _amps(self, pin: Pin) -> Range | Unknown:
        part, node = self.walks.circuit.parts[pin.part], self.node(pin.net)
        pieces = [piece for piece in self.plan.by_part.get(part.key, ()) if node in piece.nodes]
        shared = [one for one in part.pins if self.node(one.net) == node]
        if part.key in self.plan.blind_parts or not pieces or len(shared) > 1:
            return Unknown(
                (self.plan.blind_parts.get(part.key) or f"the current of {self.said(part)} is not computed",)
            )
        if any(piece.amplifier for piece in pieces) or self._stiff(pieces):
            return Unknown((f"the current of {self.said(part)} is not computed",))

        def value(volts: Values, at: End) -> float:
            return sum(current_into(self.element(piece, *at), node, volts) for piece in pieces)

        nodes = tuple(n for piece in pieces for n in piece.nodes)
        own = frozenset[str]().union(*(piece.varies for piece in pieces))
        return self._plausible(
            self.quantity(nodes, value, ("amps", self.likeness.label(node)), pieces), nodes, MOST_AMPS, own
        )

    def watts(self, part: Part) -> Range | Unknown:
        """What a modelled part takes up at rest, all its pieces together."""
        return self._once(("watts", part.key, ""), lambda: self._watts(part))

    def _watts(self, part: Part) -> Range | Unknown:
        pieces = [piece for piece in self.plan.by_part.get(part.key, ()) if not piece.alternating]
        if part.key in self.plan.blind_parts or not pieces or part.kind == "connector":
            return Unknown((self.plan.blind_parts.get(part.key) or f"the heat of {self.said(part)} is not computed",))
        if any(piece.amplifier for piece in pieces) or self._stiff(pieces):
            return Unknown((f"the heat of {self.said(part)} is not computed",))

        def value(volts: Values, at: End) -> float:
            return sum(heat_of(self.element(piece, *at), volts) for piece in pieces)

        nodes = tuple(n for piece in pieces for n in piece.nodes)
        own = frozenset[str]().union(*(piece.varies for piece in pieces))
        found = self._plausible(self.quantity(nodes, value, "watts", pieces), nodes, MOST_WATTS, own)
        return found if isinstance(found, Unknown) else replace(found, low=max(found.low, 0.0))

    def _plausible(
        self, found: Range | Unknown, nodes: Sequence[str], most: float, own: frozenset[str]
    ) -> Range | Unknown:
        """A quantity, or why it is not known where a value that cannot be read takes it beyond all measure."""
        if isinstance(found, Unknown) or max(-found.low, found.high) <= most:
            return found
        parts = self.walks.circuit.parts
        names = sorted(name for name in self._varying(nodes) | own if name.startswith(("ohms of ", "track of ")))
        unread = dict.fromkeys(key for name in names if (key := name.split(" of ", 1)[1].split(" ")[0]) in parts)
        said = tuple(f"{self.said(parts[key])} has the value '{parts[key].value.text}'" for key in unread)
        return Unknown(said or ("the operating point is absurd",))

    def _stiff(self, pieces: Sequence[Piece]) -> bool:
        """Whether a piece joins two known nodes of like volts: what flows from one to the other is not known."""
        known = self.plan.known
        return any(
            all(node in known for node in piece.nodes) and len({known[node][1] for node in piece.nodes}) == 1
            for piece in pieces
        )

    def said(self, part: Part) -> str:
        """A part as it is named in reasons."""
        return self.walks.said(part)

    # Quantities and their ranges

    def quantity(
        self,
        nodes: Iterable[str],
        value: Callable[[Values, End], float],
        what: Hashable = None,
        pieces: Sequence[Piece] = (),
    ) -> Range | Unknown:
        """Something that follows from node voltages, nominal and over all that varies.

        Args:
            nodes: those whose volts are needed. value: gives it from volts, and what `element` asks for.
            what: tells it from other quantities of such nodes; what is alike is then worked out once.
            pieces: those that it is of, which may lie between known nodes and vary by themselves.
        """
        given = tuple(nodes)
        wanted = tuple(dict.fromkeys(given))
        foreign = [self.plan.blocks[self.plan.of[node]].foreign for node in wanted if node in self.plan.of]
        if any(foreign):
            return Unknown(unite(*foreign))
        key = None if what is None else self.likeness.key(what, given, pieces)
        if key is not None and key in self._shared:
            return self._shared[key]
        found = self._ranged(wanted, value, frozenset[str]().union(*(piece.varies for piece in pieces)))
        if key is not None and isinstance(found, Range):
            self._shared[key] = found
        return found

    def _ranged(
        self, wanted: Sequence[str], value: Callable[[Values, End], float], own: frozenset[str]
    ) -> Range | Unknown:
        at_rest = self._gathered(wanted, "", NOMINAL)
        if isinstance(at_rest, Unknown):
            return at_rest
        nominal = value(at_rest, ("", 0, NOMINAL))
        if not math.isfinite(nominal):
            return Unknown(("the operating point gives no number",))
        low = high = nominal
        for name in sorted(self._varying(wanted) | own):
            ends = []
            for number, setting in enumerate(self.options(name)):
                volts = self._gathered(wanted, name, setting, number)
                if isinstance(volts, Unknown):
                    return volts
                ends.append(value(volts, (name, number, setting)) - nominal)
            low += min(0.0, *ends)
            high += max(0.0, *ends)
        if not (math.isfinite(low) and math.isfinite(high)):
            return Unknown(("the operating point gives no number",))
        return Range(nominal, low, high)

    def _varying(self, nodes: Sequence[str]) -> frozenset[str]:
        found: set[str] = set()
        for node in nodes:
            if node in self.plan.of:
                found |= self.plan.blocks[self.plan.of[node]].varies
            elif node in self.plan.known and self.plan.known[node][0] != self.plan.known[node][2]:
                found.add("supply")
        return frozenset(found)

    def options(self, name: str) -> tuple[Setting, ...]:
        """The settings at the ends of one thing that varies."""
        if name not in self._options:
            self._options[name] = _settings(name, self.spread)
        return self._options[name]

    def _gathered(self, nodes: Sequence[str], name: str, setting: Setting, number: int = 0) -> Values | Unknown:
        found: dict[str, float] = {}
        for node in nodes:
            if node in self.plan.known:
                found[node] = self.plan.known[node][1 + setting.supply]
            elif node not in self.plan.of:
                return Unknown((f"{self._spoken(node)} is not computed",))
            else:
                values = self._solve(self.plan.of[node], name, setting, number)
                if isinstance(values, tuple):
                    return Unknown(values)
                if node not in values:
                    return Unknown((f"nothing sets the DC voltage of {self._spoken(node)}",))
                found[node] = values[node]
        return MappingProxyType(found)

    def _spoken(self, node: str) -> str:
        return spoken_net(self.walks.circuit, self.walks.circuit.nets[node])

    def _within(self, node: str) -> tuple[float, float]:
        """Lowest and highest known volts that a node can come from: nothing on the way makes more."""
        if node in self.plan.known:
            return self.plan.known[node][0], self.plan.known[node][2]
        seen, todo = set[int](), [self.plan.of[node]]
        feeds = {ZERO}
        while todo:
            number = todo.pop()
            if number not in seen:
                seen.add(number)
                feeds |= set(self.plan.blocks[number].feeds)
                todo.extend(self.plan.blocks[number].before)
        return min(self.plan.known[one][0] for one in feeds), max(self.plan.known[one][2] for one in feeds)

    # Solving

    def _solve(self, number: int, name: str, setting: Setting, option: int) -> Values | tuple[str, ...]:
        """Volts of a block's nodes, those left out that nothing sets; or the reasons why there are none."""
        block = self.plan.blocks[number]
        if name not in block.varies:
            name, setting, option = "", NOMINAL, 0
        key = (number, name, option)
        if key not in self._solved:
            for one in self._unsolved_before(number, name, option):
                self._solved[(one, name, option)] = self._found(self.plan.blocks[one], name, setting, option)
            self._solved[key] = self._found(block, name, setting, option)
        return self._solved[key]

    def _found(self, block: Block, name: str, setting: Setting, option: int) -> Values | tuple[str, ...]:
        """Volts of a block as they are in the first of those that are alike, else worked out."""
        alike = self.likeness.of(block.number)
        if alike is not None and alike.first != block.number:
            values = self._solve(alike.first, name, setting, option)
            first = self.likeness.of(alike.first)
            if not isinstance(values, tuple) and first is not None:
                return told_of(alike, first, values)
        return self._work_out(block, name, setting, option)

    def _unsolved_before(self, number: int, name: str, option: int) -> list[int]:
        """Blocks that vary as well and are still to be solved, in order."""
        seen, todo = set[int](), list(self.plan.blocks[number].before)
        while todo:
            one = todo.pop()
            if one not in seen and (not name or name in self.plan.blocks[one].varies):
                seen.add(one)
                todo.extend(self.plan.blocks[one].before)
        return [one for one in sorted(seen) if (one, name, option) not in self._solved]

    def _work_out(self, block: Block, name: str, setting: Setting, option: int) -> Values | tuple[str, ...]:
        refused = block.reasons or self._too_much(block)
        if refused:
            return refused
        start: Values = {}
        if name:
            nominal = self._solve(block.number, "", NOMINAL, 0)
            if isinstance(nominal, tuple):
                return nominal
            start = nominal
        known = self._known_for(block, name, setting, option)
        if isinstance(known, tuple):
            return known
        elements = _held(tuple(self.element(piece, name, option, setting) for piece in block.pieces), known)
        network = Network(elements, known, block.nodes)
        asked = structure(elements, known, nodes=block.nodes, at=start)
        key = ("at rest", asked.key)
        if key not in self.kept:
            self.kept[key] = _rest(network, start, asked.nodes)
        rest = self.kept[key]
        if isinstance(rest, str):
            return (rest.format(self._spoken(block.nodes[0])),)
        assert isinstance(rest, tuple)
        return {node: volts for node, volts in zip(asked.nodes, rest, strict=True) if volts is not None}

    def _too_much(self, block: Block) -> tuple[str, ...]:
        where = f"at {self._spoken(block.nodes[0])}"
        if len(block.nodes) > MOST_NODES:
            return (f"too many nodes depend on each other {where}",)
        if len(block.varies) > MOST_VARYING:
            return (f"too many positions and values are not given {where}",)
        return ()

    def _known_for(self, block: Block, name: str, setting: Setting, option: int) -> dict[str, float] | tuple[str, ...]:
        """Volts of all nodes that a block touches and that are not its own."""
        known: dict[str, float] = {}
        mine = set(block.nodes)
        for piece in block.pieces:
            for node in piece.nodes:
                if node in mine or node in known:
                    continue
                if node in self.plan.known:
                    known[node] = self.plan.known[node][1 + setting.supply]
                    continue
                values = self._solve(self.plan.of[node], name, setting, option)
                if isinstance(values, tuple):
                    return values
                if node not in values:
                    return (f"nothing sets the DC voltage of {self._spoken(node)}",)
                known[node] = values[node]
        return known

    # The whole, for small signals

    def volts_for(self, nodes: Iterable[str]) -> Values | tuple[str, ...]:
        """Nominal volts of nodes with all inputs open, 0 for those that nothing sets; or why there are none."""
        found: dict[str, float] = {}
        for node in nodes:
            if node in self.plan.silent:
                return (self.plan.silent[node],)
            if node in self.plan.known:
                found[node] = self.plan.known[node][1]
                continue
            values = self._solve(self.plan.of[node], "", NOMINAL, 0)
            if isinstance(values, tuple):
                return values
            found[node] = values.get(node, 0.0)
        return found


def _rest(network: Network, start: Values, nodes: Sequence[str]) -> tuple[float | None, ...] | str:
    """Volts of nodes at rest, None for those that nothing sets; or why there are none, with room for the place."""
    try:
        point = operating_point(network, start, MOST_EFFORT)
    except NoOperatingPoint as failed:
        return f"{failed} at {{}}"
    if any(not math.isfinite(point.volts[node]) or abs(point.volts[node]) > MOST_VOLTS for node in nodes):
        return "the operating point at {} is absurd"
    inverse, stays = sensitivities(network, point)
    if not stays:
        return "the circuit at {} does not stay at rest: it latches or oscillates"
    if inverse is None:
        return (None,) * len(nodes)
    floating = np.max(np.abs(inverse), axis=1, initial=0.0) * LEAK_AMPS > LEAK_VOLTS
    loose = {node for node, hangs in zip(network.free_nodes(), floating, strict=True) if hangs}
    return tuple(None if node in loose else point.volts[node] for node in nodes)


def _held(elements: tuple[Element, ...], known: Values) -> tuple[Element, ...]:
    """Without the currents into nodes from which nothing leads to a known one: they would go to anywhere."""
    held = set(known) | {element.output for element in elements if isinstance(element, OperationalAmplifier)}
    ways = [element for element in elements if not isinstance(element, CurrentSource | OperationalAmplifier)]
    ways = [element for element in ways if not (isinstance(element, Resistor) and element.ohms >= OPEN_OHMS)]
    grown = True
    while grown:
        grown = False
        for element in ways:
            ends = set(terminals(element)) if not isinstance(element, Fet) else {element.drain, element.source}
            if ends & held and not ends <= held:
                held |= ends
                grown = True
    return tuple(e for e in elements if not isinstance(e, CurrentSource) or {e.a, e.b} <= held)


def _settings(name: str, spread: Spread) -> tuple[Setting, ...]:
    """The ends of what varies, by its name."""
    plain = {
        "supply": (Setting(supply=-1), Setting(supply=1)),
        "heat": (Setting(kelvin=spread.cold), Setting(kelvin=spread.hot)),
        "junctions": tuple(Setting(diodes=a, transistors=b) for a in (-1, 1) for b in (-1, 1)),
        "gain": (Setting(gain=-1), Setting(gain=1)),
        "fets": (Setting(fets=-1), Setting(fets=1)),
        "bias": (Setting(bias=-1), Setting(bias=1)),
        "outside": (Setting(outside="zero"),),
    }
    if name in plain:
        return plain[name]
    if name.startswith("position of "):
        key = name.removeprefix("position of ")
        return tuple(Setting(positions=MappingProxyType({key: at})) for at in (0.0, 1.0))
    for what, most in (("ohms of ", OPEN_OHMS), ("track of ", MOST_TRACK_OHMS)):
        if name.startswith(what):
            key = name.removeprefix(what)
            return tuple(Setting(ohms=MappingProxyType({key: ohms})) for ohms in (WIRE_OHMS, most))
    return (Setting(joined=frozenset({name})),)


def current_into(element: Element, node: str, volts: Values) -> float:
    """Amps that an element takes from a node."""
    amps = currents_of(element, volts)
    return sum(one for one, at in zip(amps, terminals(element), strict=False) if at == node)


def heat_of(element: Element, volts: Values) -> float:
    """Watts that an element takes up: the sum of volts times amps over its terminals."""
    return sum(volts[node] * amps for node, amps in zip(terminals(element), currents_of(element, volts), strict=False))


def currents_of(element: Element, volts: Values) -> tuple[float, ...]:
    """Amps into each terminal at given volts; of an amplifier none are told."""
    nodes = terminals(element)
    at = tuple(volts[node] for node in nodes)
    if isinstance(element, OperationalAmplifier):
        return (0.0, element.model.bias, element.model.bias)
    if isinstance(element, CurrentSource):
        return element.amps, -element.amps
    if isinstance(element, Resistor) or hasattr(element, "ohms"):
        amps = (at[0] - at[1]) / max(element.ohms, 1e-9)
        return amps, -amps
    if hasattr(element, "farads"):
        return 0.0, 0.0
    return tuple(element.currents(at)[0])
