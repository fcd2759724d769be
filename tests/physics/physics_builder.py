"""Circuits by hand: a line a part, roles of nets by their names."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from netcheck.circuit.model import Board, Circuit, Net, Part, Pin, join
from netcheck.ground.names import natural_key
from netcheck.ground.quantities import PartValue
from netcheck.intake.netlist import Netlist

KINDS = {
    "R": "resistor", "C": "capacitor", "L": "inductor", "FB": "ferrite", "F": "fuse", "JP": "jumper", "SW": "switch",
    "D": "diode", "J": "connector", "U": "opamp", "H": "hole", "NT": "link", "T": "transformer", "BR": "bridge",
    "RV": "potentiometer", "RT": "thermistor", "Q": "pmos", "TP": "test point", "X": "unknown", "Z": "zener",
}  # fmt: skip


def part(ref: str, nets: str, ohms: float | None = None, text: str = "", kind: str = "", **more: Any) -> Part:
    """A part without a board. nets: 'NET NET' in the order of the pins; 'role:NET' gives a role, '7=NET' a number.

    Underscores in a role stand for spaces. '-' leaves a pin on a net of its own, without a name.
    """
    pins = []
    for at, word in enumerate(nets.split(), 1):
        number, word = word.split("=") if "=" in word else (str(at), word)
        role, net = word.split(":") if ":" in word else ("", word)
        pins.append(Pin(key=number, part=ref, board="", number=number, net=net, role=role.replace("_", " ")))
    letters = ref.rstrip("0123456789")
    value = PartValue(text or ("" if ohms is None else f"{ohms:g}"), ohms)
    return Part("", "", ref, kind or KINDS[letters], "given", value, tuple(pins), **more)


def _net(board: str, name: str, pins: list[Pin], links: Mapping[str, str], told: Mapping[str, Any]) -> Net:
    unnamed = name.startswith(("-", "~")) and not name[1:2].isdigit()
    key = f"{board}/net of {pins[0].key.split('/')[-1]}" if unnamed else f"{board}/net/{name}"
    facts: dict[str, Any] = {}
    if name[0] in "+-" and name[1:2].isdigit():
        volts = float(name[1:].split("V")[0].split("_")[0]) * (1 if name[0] == "+" else -1)
        facts = {"role": "rail", "volts": volts, "sign": "positive" if volts > 0 else "negative"}
    elif name.startswith("GND"):
        facts = {"role": "ground", "domain": f"{board}/net/{links[name]}"}
    elif name.split("_")[0] in ("CHASSIS", "EARTH", "MAINS"):
        facts = {"role": name.split("_")[0].lower()}
    facts |= told.get(name, {})
    return Net(key, board, "" if unnamed else name, "", tuple(pin.key for pin in pins), **facts)


def board(*parts: Part, name: str = "amp", nets: Mapping[str, Mapping[str, Any]] | None = None) -> Board:
    """A board of parts; nets: what is told about a net beside what its name tells."""
    domains: dict[str, str] = {}
    used = sorted({pin.net for each in parts for pin in each.pins}, key=natural_key)
    for net in used:
        domains[net] = net
    for each in parts:
        if (each.kind == "link" or (each.kind == "resistor" and each.value.number == 0)) and each.fitted:
            ends = [domains[pin.net] for pin in each.pins]
            first = min(ends, key=natural_key)
            domains = {net: first if senior in ends else senior for net, senior in domains.items()}
    on: dict[str, list[Pin]] = {}
    for each in parts:
        for pin in each.pins:
            net = f"-{each.ref}.{pin.number}" if pin.net == "-" else pin.net
            key = f"{name}/{each.ref}.{pin.number}"
            on.setdefault(net, []).append(replace(pin, key=key, part=f"{name}/{each.ref}", board=name, net=net))
    made = {}
    for net, pins in on.items():
        made[net] = _net(name, net, sorted(pins, key=lambda pin: natural_key(pin.key)), domains, nets or {})
    final = []
    for each in parts:
        mine = [pin for pins in on.values() for pin in pins if pin.part == f"{name}/{each.ref}"]
        order = {pin.number: at for at, pin in enumerate(each.pins)}
        mine.sort(key=lambda pin: order[pin.number])
        pins = tuple(replace(pin, net=made[pin.net].key) for pin in mine)
        final.append(replace(each, key=f"{name}/{each.ref}", board=name, pins=pins))
    return Board(name, Netlist("", "", (), ()), tuple(final), tuple(made.values()), ())


def circuit(*parts: Part, nets: Mapping[str, Mapping[str, Any]] | None = None) -> Circuit:
    """A circuit of one board, called amp."""
    return join((board(*parts, nets=nets),))


def shuffled(whole: Circuit, seed: int) -> Circuit:
    """The same circuit with boards, parts, nets and pins listed in another order, and other codes."""
    dice = random.Random(seed)

    def mixed(items: Any) -> tuple[Any, ...]:
        found = list(items)
        dice.shuffle(found)
        return tuple(found)

    boards = []
    for each in mixed(whole.boards):
        parts = tuple(replace(one, pins=mixed(one.pins)) for one in mixed(each.parts))
        nets = tuple(replace(net, code=str(dice.random()), pins=mixed(net.pins)) for net in mixed(each.nets))
        boards.append(replace(each, parts=parts, nets=nets))
    return join(tuple(boards))
