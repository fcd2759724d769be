"""From the parts of a circuit to elements between nodes, and what has no model by name.

A node is a net, with all that cables join it with. A part gives pieces: each an element whose figures depend on a
`Setting`, or a blind spot: nets at which something happens that no model tells.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import combinations

from netcheck.circuit.conduction import SWITCHED, VARIABLE
from netcheck.circuit.model import Amplifier, Part, Pin
from netcheck.circuit.walk import Walks
from netcheck.ground.names import natural_key
from netcheck.physics.devices import (
    Setting,
    Spread,
    amplifier_model,
    bipolar_model,
    diode_model,
    fet_model,
    figure,
)
from netcheck.physics.network.elements import (
    Bipolar,
    Capacitor,
    CurrentSource,
    Diode,
    Element,
    Fet,
    Inductor,
    OperationalAmplifier,
    Resistor,
)

WIRE_OHMS = 0.01  # a link, a fuse, a bead, a closed contact: small beside all else, not so small that digits are lost
OPEN_OHMS = 1e12
MOST_TRACK_OHMS = 1e7  # no potentiometer is made with more; common practice, no source
UNKNOWN_FARADS = 1e-6  # stands for a capacitor without a value where ways are sought; nothing is computed with it
UNKNOWN_OHMS = 1e3  # of a part whose resistance is not known: taken from a wire to open, this in between
MOST_CONTACTS = 15  # pairs of contacts of one switch that are looked at; three poles of three are 36
LOAD_OHMS, SOURCE_OHMS = 10e3, 10.0  # what an output and an input may meet outside; common practice
ZERO = "zero"  # the node of what is outside, at 0 V

_NOTHING = frozenset({"test point", "hole", "mechanical", "crystal", "varistor", "connector"})
_SOME_OHMS = frozenset({"thermistor", "photoresistor", "lamp", "motor", "loudspeaker"})
_WIRES = frozenset({"link", "fuse", "ferrite"})
_DIODES = frozenset({"diode", "led", "zener", "surge diode"})
_FETS = frozenset({"nmos", "pmos", "njfet", "pjfet"})
_GIVES = frozenset({"output", "collector", "emitter", "drain", "source", "cathode"})  # roles of pins that drive a net


@dataclass(frozen=True, slots=True)
class Piece:
    """One element of a part.

    Attributes:
        name: of the element; begins with the part's key. nodes: all that it touches.
        pulls: pairs of nodes, the first of which has a say in the second.
        varies: names of what changes its figures: 'heat', 'junctions', 'gain', 'fets', 'bias', 'outside',
            'position of …', 'ohms of …', 'track of …', 'contact …'.
        make: the element at a setting. alternating: a capacitor, which carries no direct current.
        amplifier: an operational amplifier, its output the first of the nodes.
    """

    name: str
    part: str
    nodes: tuple[str, ...]
    pulls: tuple[tuple[str, str], ...]
    varies: frozenset[str]
    make: Callable[[Setting], Element]
    alternating: bool = False
    amplifier: bool = False


@dataclass(frozen=True, slots=True)
class Blind:
    """Nodes at which a part does something that is not known, and why; `alternating`: for signals only."""

    part: str
    nodes: tuple[str, ...]
    reason: str
    alternating: bool = False


class Modeller:
    """Gives the pieces and blind spots of every part.

    Args:
        walks: the circuit with its cables. known: nodes whose volts are given. spread: see `Spread`.
    """

    def __init__(self, walks: Walks, known: Mapping[str, float], spread: Spread) -> None:
        self.walks, self.known, self.spread = walks, known, spread
        self.circuit = walks.circuit
        self._amplifiers: dict[str, list[Amplifier]] = {}
        for amplifier in walks.amplifiers:
            self._amplifiers.setdefault(amplifier.part, []).append(amplifier)

    def node(self, pin: Pin | str) -> str:
        """The node of a pin or of a net's key."""
        return self.walks.joined_by_cable(pin if isinstance(pin, str) else pin.net)[0]

    def pieces(self, part: Part) -> Iterator[Piece | Blind]:
        """All of one part."""
        kind = part.kind
        if kind in _NOTHING or kind in VARIABLE | SWITCHED or kind in _WIRES:
            yield from self._passive(part)
        elif kind == "capacitor":
            yield from self._capacitor(part)
        elif kind == "inductor":
            yield from self._inductor(part)
        elif kind == "resistor" or kind in _SOME_OHMS:
            yield from self._resistor(part)
        elif kind in _DIODES or kind == "reference":
            yield from self._diode(part)
        elif kind == "bridge":
            yield from self._bridge(part)
        elif kind == "optocoupler":
            yield from self._optocoupler(part)
        elif kind in ("npn", "pnp") or kind in _FETS:
            yield from self._transistor(part)
        elif kind in ("opamp", "comparator", "buffer") or self._like_an_opamp(part):
            yield from self._package(part)
        elif kind == "regulator":
            yield from self._regulator(part)
        else:
            yield from self._unmodelled(part, part.pins)

    # What joins

    def _passive(self, part: Part) -> Iterator[Piece | Blind]:
        if part.kind in VARIABLE:
            yield from self._tracks(part)
        elif part.kind in SWITCHED:
            yield from self._contacts(part)
        elif part.kind in _WIRES:
            nodes = list(dict.fromkeys(self.node(pin) for pin in part.pins))
            for other in nodes[1:]:
                yield self._wire(part, f"{part.key} {other}", nodes[0], other)

    def _wire(self, part: Part, name: str, a: str, b: str) -> Piece:
        return self._two(part, name, a, b, lambda setting: Resistor(name, a, b, WIRE_OHMS, noisy=False))

    def _two(self, part: Part, name: str, a: str, b: str, make: Callable[[Setting], Element], *varies: str) -> Piece:
        return Piece(name, part.key, (a, b), ((a, b), (b, a)), frozenset(varies), make)

    def _perhaps(self, part: Part, name: str, a: str, b: str, what: str = "ohms") -> Piece:
        """A part that conducts with an unknown resistance: 'ohms' up to none at all, a 'track' up to the largest."""
        return self._two(
            part,
            name,
            a,
            b,
            lambda setting: Resistor(name, a, b, setting.ohms.get(name, UNKNOWN_OHMS), noisy=False),
            f"{what} of {name}",
        )

    def _resistor(self, part: Part) -> Iterator[Piece | Blind]:
        if len(part.pins) != 2:
            yield from self._unmodelled(part, part.pins)
            return
        a, b = (self.node(pin) for pin in part.pins)
        ohms, name = part.value.number, part.key
        if a == b:
            return
        if ohms is None or part.kind in _SOME_OHMS or ohms < 0:
            yield self._perhaps(part, name, a, b)
        else:
            whole = max(ohms, WIRE_OHMS)
            yield self._two(part, name, a, b, lambda setting: Resistor(name, a, b, whole))

    def _capacitor(self, part: Part) -> Iterator[Piece | Blind]:
        if len(part.pins) != 2:
            return
        a, b = (self.node(pin) for pin in part.pins)
        farads, name = part.value.number, part.key
        if a == b:
            return
        if farads is None or farads <= 0:
            yield Blind(part.key, (a, b), self._no_value(part), alternating=True)
        some = farads if farads is not None and farads > 0 else UNKNOWN_FARADS
        yield Piece(name, part.key, (a, b), (), frozenset(), lambda setting: Capacitor(name, a, b, some), True)

    def _inductor(self, part: Part) -> Iterator[Piece | Blind]:
        if len(part.pins) != 2:
            yield from self._unmodelled(part, part.pins)
            return
        a, b = (self.node(pin) for pin in part.pins)
        henries, name = part.value.number, part.key
        if a == b:
            return
        if henries is None or henries <= 0:
            yield self._wire(part, name, a, b)
            yield Blind(part.key, (a, b), self._no_value(part), alternating=True)
        else:
            yield self._two(part, name, a, b, lambda setting: Inductor(name, a, b, henries, WIRE_OHMS))

    def _tracks(self, part: Part) -> Iterator[Piece | Blind]:
        """The two halves of each gang; all gangs of a part turn together."""
        for number, group in enumerate(self.walks.groups(part)):
            ends = [pin for pin in group.pins if pin.role == "end"]
            wipers = [pin for pin in group.pins if pin.role == "wiper"]
            if group.reasons or len(wipers) != 1 or len(ends) not in (1, 2):
                if len(group.pins) == 2 and not group.reasons:
                    a, b = (self.node(pin) for pin in group.pins)
                    yield self._half(part, f"{part.key} {number}", a, b, True)
                else:
                    yield self._blind(part, group.pins, f"how the pins of {self.said(part)} are joined is not known")
                continue
            wiper = self.node(wipers[0])
            for end, first in zip(sorted(ends, key=lambda pin: natural_key(pin.number)), (True, False), strict=False):
                if self.node(end) != wiper:
                    yield self._half(part, f"{part.key} {end.number}", self.node(end), wiper, first)

    def _half(self, part: Part, name: str, a: str, b: str, first: bool) -> Piece:
        """From an end to the wiper; the first end is that at which the wiper stands at position 0."""
        whole = part.value.number
        if whole is None or whole <= 0:
            return self._perhaps(part, name, a, b, "track")

        def make(setting: Setting) -> Element:
            at = setting.positions.get(part.key, 0.5)
            return Resistor(name, a, b, max(whole * (at if first else 1 - at), WIRE_OHMS))

        return self._two(part, name, a, b, make, f"position of {part.key}")

    def _contacts(self, part: Part) -> Iterator[Piece | Blind]:
        coil = [pin for pin in part.pins if pin.role == "coil"]
        for group in self.walks.groups(part):
            nodes = sorted({self.node(pin) for pin in group.pins}, key=natural_key)
            pairs = list(combinations(nodes, 2))
            if group.pins and all(pin in coil for pin in group.pins):
                for a, b in pairs[:1]:
                    yield self._perhaps(part, f"{part.key} coil", a, b)
            elif not group.reasons:
                for other in nodes[1:]:
                    yield self._wire(part, f"{part.key} {other}", nodes[0], other)
            elif len(pairs) > MOST_CONTACTS:
                yield self._blind(part, group.pins, group.reasons[0])
            else:
                for a, b in pairs:
                    yield self._contact(part, a, b)

    def _contact(self, part: Part, a: str, b: str) -> Piece:
        name, contact = f"{part.key} {a} {b}", f"contact {a} {b}"

        def make(setting: Setting) -> Element:
            return Resistor(name, a, b, WIRE_OHMS if contact in setting.joined else OPEN_OHMS, noisy=False)

        return self._two(part, name, a, b, make, contact)

    # What is curved

    def _diode(self, part: Part) -> Iterator[Piece | Blind]:
        anode, cathode = part.by_role("anode"), part.by_role("cathode")
        senses = part.by_role("reference") + part.by_role("adjust")
        tied = all(self.node(pin) in {self.node(one) for one in cathode} for pin in senses)
        if len(anode) != 1 or len(cathode) != 1 or not tied:
            yield from self._unmodelled(part, part.pins)
            return
        yield from self._junction(part, part.key, self.node(anode[0]), self.node(cathode[0]))

    def _junction(self, part: Part, name: str, anode: str, cathode: str) -> Iterator[Piece | Blind]:
        if anode == cathode:
            return
        if diode_model(part, Setting(), self.spread) is None:
            yield Blind(part.key, (anode, cathode), self._no_figures(part))
            return

        def make(setting: Setting) -> Element:
            model = diode_model(part, setting, self.spread)
            assert model is not None
            return Diode(name, anode, cathode, model)

        yield self._two(part, name, anode, cathode, make, "heat", "junctions")

    def _bridge(self, part: Part) -> Iterator[Piece | Blind]:
        plus, minus, feeds = part.by_role("plus"), part.by_role("minus"), part.by_role("alternating")
        if len(plus) != 1 or len(minus) != 1 or len(feeds) != 2:
            yield from self._unmodelled(part, part.pins)
            return
        for pin in feeds:
            yield from self._junction(part, f"{part.key} {pin.number} plus", self.node(pin), self.node(plus[0]))
            yield from self._junction(part, f"{part.key} {pin.number} minus", self.node(minus[0]), self.node(pin))

    def _optocoupler(self, part: Part) -> Iterator[Piece | Blind]:
        anode, cathode = part.by_role("anode"), part.by_role("cathode")
        rest = part.pins
        if len(anode) == len(cathode) == 1:
            yield from self._junction(part, part.key, self.node(anode[0]), self.node(cathode[0]))
            rest = tuple(pin for pin in part.pins if pin not in (*anode, *cathode))
        yield from self._unmodelled(part, rest)

    def _transistor(self, part: Part) -> Iterator[Piece | Blind]:
        fet = part.kind in _FETS
        pins = [part.by_role(role) for role in ("collector", "base", "emitter")]
        if any(len({self.node(pin) for pin in found}) != 1 for found in pins):
            yield from self._unmodelled(part, part.pins)
            return
        collector, base, emitter = (self.node(found[0]) for found in pins)
        missing = fet_model(part, Setting(), self.spread) if fet else bipolar_model(part, Setting(), self.spread)
        if missing is None:
            yield Blind(part.key, (collector, base, emitter), self._no_figures(part))
            return
        insulated = part.kind in ("nmos", "pmos")
        between = list(
            combinations(dict.fromkeys((collector, emitter) if insulated else (collector, base, emitter)), 2)
        )
        pulls = [*between, *((b, a) for a, b in between)]
        if insulated:
            pulls += [(base, other) for other in (collector, emitter) if other != base]

        def make(setting: Setting) -> Element:
            if fet:
                model = fet_model(part, setting, self.spread)
                assert model is not None
                return Fet(part.key, collector, base, emitter, model, part.kind in ("pmos", "pjfet"))
            bipolar = bipolar_model(part, setting, self.spread)
            assert bipolar is not None
            return Bipolar(part.key, collector, base, emitter, bipolar, part.kind == "pnp")

        varies = frozenset({"heat", "fets"} if fet else {"heat", "junctions", "gain"})
        yield Piece(part.key, part.key, (collector, base, emitter), tuple(pulls), varies, make)
        if part.kind in ("nmos", "pmos") and collector != emitter:
            yield from self._body_diode(part, collector, emitter)

    def _body_diode(self, part: Part, drain: str, source: str) -> Iterator[Piece | Blind]:
        """From source to drain of an N-channel MOSFET, from drain to source of a P-channel one."""
        anode, cathode = (source, drain) if part.kind == "nmos" else (drain, source)
        name = f"{part.key} body"
        yield self._two(part, name, anode, cathode, lambda setting: Diode(name, anode, cathode))

    # Amplifiers and regulators

    def _like_an_opamp(self, part: Part) -> bool:
        """Whether a power amplifier is one whose gain is set outside: its book tells gain times bandwidth."""
        told = part.kind == "power amplifier" and part.record is not None
        return told and figure(part.record, "gain_bandwidth") is not None and figure(part.record, "fixed_gain") is None

    def power_amplifiers(self, part: Part) -> list[Amplifier]:
        """Its amplifiers by the units of their pins, where each has one pin of a role."""
        found = []
        for output in part.by_role("output"):
            pins = {role: [p.key for p in part.by_role(role) if p.unit == output.unit] for role in ("plus", "minus")}
            feeds = {role: [p.key for p in part.by_role(role)] for role in ("supply plus", "supply minus")}
            if all(len(keys) == 1 for keys in pins.values()) and all(feeds.values()):
                ends = (pins["plus"][0], pins["minus"][0], feeds["supply plus"][0], feeds["supply minus"][0])
                key = f"{part.key}:{output.unit}"
                found.append(Amplifier(key, part.key, part.board, output.unit, "opamp", output.key, *ends))
        return found

    def _package(self, part: Part) -> Iterator[Piece | Blind]:
        amplifiers = self._amplifiers.get(part.key) or self.power_amplifiers(part)
        used = {
            pin for amp in amplifiers for pin in (amp.output, amp.plus, amp.minus, amp.supply_plus, amp.supply_minus)
        }
        for amplifier in amplifiers:
            yield from self._amplifier(part, amplifier)
        yield from self._unmodelled(part, tuple(pin for pin in part.pins if pin.key not in used))

    def _amplifier(self, part: Part, amplifier: Amplifier) -> Iterator[Piece | Blind]:
        if amplifier.output is None:
            return
        out = self.node(self.circuit.pins[amplifier.output])
        ins = (amplifier.plus, amplifier.minus if part.kind != "buffer" else amplifier.output)
        supplies = (amplifier.supply_plus, amplifier.supply_minus)
        model = amplifier_model(part.record, Setting(), self.spread.usual)
        yield from self._bias(part, amplifier)
        if any(pin is None for pin in ins) or part.kind == "comparator" or model is None:
            yield Blind(part.key, (out,), f"what {self.said(part)} does at its output is not known")
            return
        if any(pin is None for pin in supplies):
            yield Blind(part.key, (out,), f"the supply pins of {self.said(part)} are not known")
            return
        plus, minus, high, low = (self.node(self.circuit.pins[pin]) for pin in (*ins, *supplies) if pin is not None)

        def make(setting: Setting) -> Element:
            figures = amplifier_model(part.record, setting, self.spread.usual)
            assert figures is not None
            return OperationalAmplifier(amplifier.key, out, plus, minus, high, low, replace(figures, bias=0.0))

        pulls = tuple((node, out) for node in dict.fromkeys((plus, minus, high, low)) if node != out)
        nodes = (out, plus, minus, high, low)
        yield Piece(amplifier.key, part.key, nodes, pulls, frozenset({"bias"}), make, amplifier=True)
        amps = figure(part.record, "supply_current") or 0.0
        if high not in self.known:
            yield self._drain(part, f"{amplifier.key} supply plus", high, lambda setting: amps)
        if low not in self.known:
            yield self._drain(part, f"{amplifier.key} supply minus", low, lambda setting: -amps)

    def _bias(self, part: Part, amplifier: Amplifier) -> Iterator[Piece]:
        """What flows into the inputs, at their own nodes: these may belong to another block than the output."""

        def amps(setting: Setting) -> float:
            model = amplifier_model(part.record, setting, self.spread.usual)
            return model.bias if model is not None else 0.0

        for name in ("plus", "minus"):
            pin = getattr(amplifier, name)
            if pin is not None:
                yield self._drain(part, f"{amplifier.key} {name}", self.node(self.circuit.pins[pin]), amps, "bias")

    def _drain(self, part: Part, name: str, node: str, amps: Callable[[Setting], float], *varies: str) -> Piece:
        """A current out of a node."""
        return Piece(
            name, part.key, (node, ZERO), (), frozenset(varies), lambda s: CurrentSource(name, node, ZERO, amps(s))
        )

    def _regulator(self, part: Part) -> Iterator[Piece | Blind]:
        """Its output is a known rail or not known at all; what it takes from an input that is no rail is not known."""
        yield from self._unmodelled(part, tuple(pin for pin in part.pins if pin.role not in ("adjust", "reference")))
        for pin in part.by_role("adjust") + part.by_role("reference"):
            if self.adjusted(part) is None:
                yield from self._unmodelled(part, (pin,))

    def adjusted(self, part: Part) -> tuple[str, float] | None:
        """The adjust pin's node and its volts, where the output of a regulator is known."""
        pins, outputs = part.by_role("adjust"), part.by_role("output")
        reference = figure(part.record, "reference_volts")
        if len(pins) != 1 or len(outputs) != 1 or reference is None or part.record is None:
            return None
        volts = self.known.get(self.node(outputs[0]))
        if volts is None or part.record.polarity not in ("positive", "negative"):
            return None
        sign = 1.0 if part.record.polarity == "positive" else -1.0
        return self.node(pins[0]), volts - sign * reference

    # What is not known

    def said(self, part: Part) -> str:
        """A part as it is named in reasons."""
        return self.walks.said(part)

    def _no_value(self, part: Part) -> str:
        text = part.value.text.strip()
        return f"{self.said(part)} has the value '{text}'" if text else f"{self.said(part)} has no value"

    def _no_figures(self, part: Part) -> str:
        return f"the part book has no figures for {self.said(part)} ({part.value.text})"

    def _blind(self, part: Part, pins: tuple[Pin, ...], reason: str) -> Blind:
        return Blind(part.key, tuple(dict.fromkeys(self.node(pin) for pin in pins)), reason)

    def _unmodelled(self, part: Part, pins: tuple[Pin, ...]) -> Iterator[Piece | Blind]:
        alive = tuple(pin for pin in pins if pin.role != "not connected")
        if alive:
            yield self._blind(part, alive, f"what {self.said(part)} does at its pins is not known")

    # What leaves the circuit

    def outside(self, node: str) -> Piece | None:
        """What may be joined to a node beyond a connector: nothing, or 0 V through some resistance."""
        nets = self.walks.joined_by_cable(node)
        pins = self.walks.leaves_board(node)
        if not pins:
            return None
        gives = any(
            pin.role in _GIVES and self.circuit.parts[pin.part].kind != "connector"
            for net in nets
            for pin in self.circuit.pins_on(self.circuit.nets[net])
        )
        ohms = LOAD_OHMS if gives else SOURCE_OHMS
        name = f"{pins[0].key} outside"

        def make(setting: Setting) -> Element:
            return Resistor(name, node, ZERO, OPEN_OHMS if setting.outside == "open" else ohms, noisy=False)

        return Piece(name, pins[0].part, (node, ZERO), (), frozenset({"outside"}), make)
