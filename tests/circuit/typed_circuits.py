"""Circuits for tests, typed in as samples and understood by a few lines of its own: names and letters tell all."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from types import MappingProxyType

from netcheck.circuit.model import Amplifier, Board, Circuit, Net, Part, Pin, join
from netcheck.circuit.sampling import read_sample
from netcheck.ground.quantities import PartValue
from netcheck.intake.netlist import Component, Netlist

LETTERS = {"R": "resistor", "C": "capacitor", "L": "inductor", "D": "diode", "J": "connector", "F": "fuse"}
LETTERS |= {"RV": "potentiometer", "SW": "switch", "JP": "jumper", "FB": "ferrite", "NT": "link", "TP": "test point"}
DUAL = {"1": ("output", "A"), "2": ("minus", "A"), "3": ("plus", "A"), "4": ("supply minus", "")}
DUAL |= {"5": ("plus", "B"), "6": ("minus", "B"), "7": ("output", "B"), "8": ("supply plus", "")}
SCALES = {"R": 1.0, "k": 1e3, "M": 1e6, "p": 1e-12, "n": 1e-9, "u": 1e-6, "": 1.0}


def value_of(text: str) -> PartValue:
    """4k7, 0R22, 100n, 33; anything else is in doubt."""
    found = re.fullmatch(r"(\d+)([RkMpnu]?)(\d*).*", text)
    if found is None:
        return PartValue(text, doubt=f"the value '{text}' is not a number")
    return PartValue(text, float(f"{found[1]}.{found[3] or 0}") * SCALES[found[2]])


def board(text: str, name: str = "b") -> Board:
    """A board from a sample."""
    netlist, hints = read_sample(text, "test", 1, name)
    names = {}
    for net in netlist.nets:
        for node in net.nodes:
            names[node.reference, node.pin] = net.name
    parts = []
    for component in netlist.components:
        kind = dict(component.fields).get("Kind") or LETTERS.get(component.reference.rstrip("0123456789"), "unknown")
        if re.fullmatch(r"(NE|OPA|TL)\d+", component.value or ""):
            kind = "opamp"
        pins = []
        for library_pin in component.library_pins:
            number = library_pin.number
            role, unit = hints.pin_roles.get((component.reference, number), ""), ""
            if kind == "opamp" and number in DUAL:
                role, unit = DUAL[number]
            if kind == "potentiometer" and not role:
                role = "wiper" if number == "2" else "end"
            net = f"{name}/net/{names[component.reference, number]}"
            pins.append(
                Pin(
                    f"{name}/{component.reference}.{number}",
                    f"{name}/{component.reference}",
                    name,
                    number,
                    net,
                    role=role,
                    unit=unit,
                )
            )
        parts.append(_part(name, component, kind, tuple(pins)))
    return Board(name, netlist, tuple(parts), _nets(name, netlist, dict(hints.net_roles)), _amplifiers(parts))


def circuit(text: str, *more: str) -> Circuit:
    """One board, or several called b, b2, b3."""
    boards = [board(text), *(board(other, f"b{at}") for at, other in enumerate(more, start=2))]
    return join(tuple(boards))


def _part(name: str, component: Component, kind: str, pins: tuple[Pin, ...]) -> Part:
    return Part(
        f"{name}/{component.reference}",
        name,
        component.reference,
        kind,
        "typed",
        value_of(component.value or ""),
        pins,
        fitted="not fitted" not in component.flags,
        library_part=component.library_part,
        fields=MappingProxyType(dict(component.fields)),
        line=component.line,
    )


def _nets(name: str, netlist: Netlist, told: dict[str, tuple[str, float | None]]) -> tuple[Net, ...]:
    nets = []
    for net in netlist.nets:
        volts = re.fullmatch(r"([+-]\d+)V", net.name)
        role = "rail" if volts else "ground" if net.name.startswith("GND") else "signal"
        level = float(volts[1]) if volts else None
        if net.name in told:
            role, level = told[net.name]
        sign = "" if level is None or role != "rail" else "positive" if level > 0 else "negative"
        pins = tuple(f"{name}/{node.reference}.{node.pin}" for node in net.nodes)
        nets.append(Net(f"{name}/net/{net.name}", name, net.name, net.code, pins, role, level, sign=sign))
    return tuple(nets)


def _amplifiers(parts: list[Part]) -> tuple[Amplifier, ...]:
    found = []
    for part in parts:
        for unit in ("A", "B") if part.kind == "opamp" else ():
            pins = {pin.role: pin.key for pin in part.pins if pin.unit == unit}
            shared = {pin.role: pin.key for pin in part.pins}
            if pins:
                found.append(
                    Amplifier(
                        f"{part.key}:{unit}", part.key, part.board, unit, "opamp", pins.get("output"), pins.get("plus"),
                        pins.get("minus"), shared.get("supply plus"), shared.get("supply minus"),
                    )
                )  # fmt: skip
    return tuple(found)


Row = tuple[str, str, tuple[tuple[str, str], ...]]


def with_parts(made: Circuit, rows: Iterable[Row]) -> Circuit:
    """A circuit of one board with parts added: reference, kind, and (role, net) of each pin."""
    (one,) = made.boards
    nets = {net.key: net for net in one.nets}
    pins_of = {net.key: list(net.pins) for net in one.nets}
    parts = list(one.parts)
    for ref, kind, places in rows:
        key = f"{one.name}/{ref}"
        pins = tuple(
            Pin(f"{key}.{at}", key, one.name, str(at), f"{one.name}/net/{net}", role=role)
            for at, (role, net) in enumerate(places, start=1)
        )
        for pin, (_, name) in zip(pins, places, strict=True):
            nets.setdefault(pin.net, Net(pin.net, one.name, name, name, ()))
            pins_of.setdefault(pin.net, []).append(pin.key)
        parts.append(Part(key, one.name, ref, kind, "typed", PartValue("1k", 1000.0), pins))
    all_nets = tuple(replace(net, pins=tuple(pins_of[key])) for key, net in nets.items())
    return join((replace(one, parts=tuple(parts), nets=all_nets),))


def with_array(made: Circuit, count: int, common: str) -> Circuit:
    """A circuit with many NPN transistors added, all their emitters on one net."""

    def transistor(at: int) -> Row:
        return f"Q{at}", "npn", (("collector", f"L{at}"), ("base", f"I{at}"), ("emitter", common))

    return with_parts(made, map(transistor, range(100, 100 + count)))


def with_resistors(made: Circuit, count: int, *nets: str) -> Circuit:
    """A circuit with many resistors added, each from a net of its own to one of those named in turn."""

    def resistor(at: int) -> Row:
        return f"R{at}", "resistor", (("end", f"N{at}"), ("end", nets[at % len(nets)]))

    return with_parts(made, map(resistor, range(1000, 1000 + count)))
