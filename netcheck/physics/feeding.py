"""What feeds a rail: which rails are one supply, and from which pins its current can come.

Current is followed against its direction: from a rail back through what conducts that way to a contact, a winding, a
battery or an output. A part that only takes current from a rail (a supply pin, a bleeder) feeds nothing.

Which way round diodes and transistors stand in a supply follows from how they conduct; common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from netcheck.circuit.conduction import AMPLIFIERS, BIPOLAR
from netcheck.circuit.model import Net, Part, Pin
from netcheck.circuit.walk import Walks
from netcheck.ground.names import natural_key

Kinds = frozenset[str]
Reasons = tuple[str, ...]
# A way on: the net beyond a part, and why it perhaps is none.
Step = tuple[str, Reasons]

_ENDS = frozenset({"ground", "chassis", "earth"})
_RESISTORS = frozenset({"resistor", "resistor network"})
_WIRES = frozenset(
    {"fuse", "ferrite", "link", "inductor", "jumper", "switch", "button", "relay", "lamp", "thyristor", "bridge"}
    | {"thermistor"}
)
_FETS = frozenset({"nmos", "pmos", "njfet", "pjfet"})
_MAKERS = frozenset({"regulator", "converter", "reference"})
_CONTACTS = frozenset({"connector", "test point", "inlet", "transformer", "source", "battery"})
_CHIPS = frozenset({"logic", "microcontroller", "integrated circuit", "module"})
# Roles of pins that take current from a net or a signal in.
_TAKING = frozenset(
    {"supply plus", "supply minus", "ground", "input", "plus", "minus", "control", "compensation", "not connected"}
    | {"reference", "adjust"}
)
# Outputs of what makes a rail; the negative one of an isolated converter is a supply pin by its role.
_OUTPUTS = frozenset({"output", "supply minus"})
# Which way current leaves a transistor towards a positive rail: pin at the rail -> pin beyond.
_TOWARDS_PLUS = {("npn", "emitter"): "collector", ("pnp", "collector"): "emitter", ("nmos", "source"): "drain"}
_TOWARDS_MINUS = {("npn", "collector"): "emitter", ("pnp", "emitter"): "collector", ("nmos", "drain"): "source"}


@dataclass(frozen=True, slots=True)
class Feeding:
    """What can feed a rail.

    Attributes:
        pins: that surely can, natural order. perhaps: further pins, each with the reasons for the doubt.
        rails: keys of the rails on the way, the rail itself among them.
    """

    pins: tuple[Pin, ...]
    perhaps: tuple[tuple[Pin, Reasons], ...]
    rails: frozenset[str]


def rail_web(walks: Walks, key: str, kinds: Kinds, most_ohms: float) -> tuple[tuple[Net, ...], dict[str, Reasons]]:
    """Rails that are one supply with a rail: through parts of some kinds, resistors up to so many ohms.

    Never from a rail of one sign to one of the other, and not through a diode that lies across a regulator. Of a
    transistor only what carries the load current counts, of a regulator input and output.

    Returns:
        The rails, natural order, the one begun with among them; and for each rail that perhaps belongs to them the
        reasons for the doubt.
    """
    sure, doubts = _spread(key, lambda net: _rail_steps(walks, net, kinds, most_ohms))
    return tuple(walks.circuit.nets[net] for net in sorted(sure, key=natural_key)), doubts


def feeding(walks: Walks, key: str, most_ohms: float) -> Feeding:
    """What can feed a rail, looking through resistors up to so many ohms; from rail to rail through any.

    A pin of a chip that is no supply, ground or input perhaps feeds it; so does whatever is behind a resistor without
    a readable value.
    """
    circuit = walks.circuit
    own = circuit.nets[key].sign
    sure, doubts = _spread(key, lambda net: _feeding_steps(walks, net, circuit.nets[net].sign or own, most_ohms))
    pins: dict[str, Pin] = {}
    perhaps: dict[str, tuple[Pin, Reasons]] = {}
    for net in [*sure, *doubts]:
        for pin, reasons in _feeders_on(walks, net):
            if net in sure and not reasons:
                pins[pin.key] = pin
            else:
                perhaps.setdefault(pin.key, (pin, (*doubts.get(net, ()), *reasons)))
    return Feeding(
        tuple(pins[pin] for pin in sorted(pins, key=natural_key)),
        tuple(perhaps[pin] for pin in sorted(perhaps, key=natural_key) if pin not in pins),
        frozenset(net for net in sure if circuit.nets[net].role == "rail"),
    )


def _spread(start: str, steps: Callable[[str], Iterator[Step]]) -> tuple[dict[str, None], dict[str, Reasons]]:
    """Nets that are surely got to, and further ones with the reasons for the doubt."""
    sure: dict[str, None] = {start: None}
    todo = [start]
    for net in todo:
        for other, doubt in steps(net):
            if not doubt and other not in sure:
                sure[other] = None
                todo.append(other)
    doubts: dict[str, Reasons] = {}
    todo = list(sure)
    for net in todo:
        for other, doubt in steps(net):
            if other not in sure and other not in doubts:
                doubts[other] = tuple(dict.fromkeys((*doubts.get(net, ()), *doubt)))
                todo.append(other)
    return sure, doubts


# From rail to rail


def _rail_steps(walks: Walks, net: str, kinds: Kinds, most_ohms: float) -> Iterator[Step]:
    circuit = walks.circuit
    here = circuit.nets[net]
    for pin, other in _across(walks, net, kinds):
        part, there = circuit.part_of(pin), circuit.net_of(other)
        opposite = {here.sign, there.sign} == {"positive", "negative"}
        if there.role != "rail" or there.key == net or opposite:
            continue
        if part.kind in _RESISTORS:
            ohms, reasons = _ohms(walks, part)
            if ohms <= most_ohms:
                yield there.key, reasons
        elif part.kind != "diode" or not _across_a_regulator(walks, net, there.key):
            yield there.key, ()


def _across(walks: Walks, net: str, kinds: Kinds) -> Iterator[tuple[Pin, Pin]]:
    """Pins on a net and the pins that they conduct the load current to; not through a base or gate."""
    aside = {"base", "gate", "adjust", "coil"}
    for kind, pins in walks.on(net).items():
        if kind in kinds:
            for pin in pins:
                if pin.role not in aside:
                    yield from ((pin, other) for other, _ in walks.across(pin) if other.role not in aside)


def _across_a_regulator(walks: Walks, a: str, b: str) -> bool:
    return bool(walks.parts_between(a, b, frozenset({"regulator"})))


def _ohms(walks: Walks, part: Part) -> tuple[float, Reasons]:
    """Ohms of a resistor; 0 with a reason when they cannot be read."""
    if part.value.number is not None:
        return part.value.number, ()
    text = part.value.text.strip()
    said = f"{walks.said(part)} has the value '{text}'" if text else f"{walks.said(part)} has no value"
    return 0.0, (said,)


# Back to what feeds


def _feeding_steps(walks: Walks, net: str, sign: str, most_ohms: float) -> Iterator[Step]:
    circuit = walks.circuit
    here = circuit.nets[net]
    if here.role in _ENDS or here.role == "mains" or (here.role == "signal" and _serves(walks, net)):
        return
    for pin, other in _across(walks, net, _RESISTORS | _WIRES | BIPOLAR | _FETS | {"diode", "zener"}):
        part, there = circuit.part_of(pin), circuit.net_of(other)
        if there.key == net or there.role in _ENDS:
            continue
        if part.kind not in _RESISTORS:
            conducts = _conducts(part, pin, other, sign)
            if conducts is None:
                yield there.key, (f"the pins of {walks.said(part)} are not known: which way does it conduct?",)
            elif conducts:
                yield there.key, ()
            continue
        ohms, reasons = _ohms(walks, part)
        if there.role == "rail":
            yield there.key, ()
        elif ohms <= most_ohms:
            yield there.key, reasons
    yield from ((other, ()) for other in _pumped_from(walks, here))
    for part in walks.parts_on(net, _MAKERS):
        if any(pin.net == net and pin.role in _OUTPUTS for pin in part.pins):
            yield from ((pin.net, ()) for pin in part.by_role("input") if circuit.nets[pin.net].role not in _ENDS)


def _conducts(part: Part, pin: Pin, other: Pin, sign: str) -> bool | None:
    """Whether current can come to a rail of a sign from pin `other` to pin `pin` of a part; None if not known."""
    if part.kind in BIPOLAR | _FETS | {"diode", "bridge"} and not (pin.role and other.role):
        return None
    if part.kind in ("diode", "zener"):
        if part.kind == "zener" or not sign:
            return True
        return pin.role != ("anode" if sign == "positive" else "cathode")
    if part.kind == "bridge":
        return pin.role in ("alternating", "plus" if sign != "negative" else "minus") and other.role == "alternating"
    if (part.kind in BIPOLAR or part.kind == "nmos") and sign:
        ways = _TOWARDS_PLUS if sign == "positive" else _TOWARDS_MINUS
        return ways.get((part.kind, pin.role)) == other.role
    return True


def _pumped_from(walks: Walks, here: Net) -> Iterator[str]:
    """From a net with diodes only, the far side of its capacitors: a pump or a doubler brings current through them."""
    if here.role != "signal" or set(walks.on(here.key)) - {"diode", "capacitor"}:
        return
    for _, other in _across(walks, here.key, frozenset({"capacitor"})):
        if other.net != here.key:
            yield other.net


def _serves(walks: Walks, net: str) -> bool:
    """Whether a net carries a signal to or from a chip: it feeds no rail, but for an output on it."""
    return bool(set(walks.on(net)) & (AMPLIFIERS | _CHIPS))


def _feeders_on(walks: Walks, net: str) -> Iterator[tuple[Pin, Reasons]]:
    """Pins on a net that can bring current to it, those that perhaps do with a reason."""
    here = walks.circuit.nets[net]
    named = here.name if here.name else "the rail" if here.role == "rail" else "it"
    for pins in walks.on(net).values():
        for pin in pins:
            part = walks.circuit.part_of(pin)
            feeds = _feeds(part, pin)
            if part.kind == "bridge" and pin.role == "alternating" and walks.count_on(net) == 1:
                yield pin, (f"whether a wire goes to {walks.said(part)} pin {pin.number} is not known",)
            elif feeds is None:
                yield pin, (f"whether {walks.said(part)} pin {pin.number} feeds {named} is not known",)
            elif feeds:
                yield pin, ()


def _feeds(part: Part, pin: Pin) -> bool | None:
    """Whether a pin can bring current to its net; None when that is not known."""
    kind = part.kind
    if kind in _CONTACTS:
        return True
    if kind in _MAKERS:
        return None if pin.role in ("", "terminal") else pin.role in _OUTPUTS and not part.by_role("input")
    if kind == "module" and pin.role == "supply plus":
        return True
    if kind == "unknown" or (kind == "module" and pin.role not in _TAKING):
        return None
    if kind in AMPLIFIERS | _CHIPS:
        return True if pin.role == "output" else False if pin.role in _TAKING else None
    return False
