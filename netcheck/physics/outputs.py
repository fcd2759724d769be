"""Which outputs stand behind a net, so near that a short at the net is a short of the output."""

from __future__ import annotations

import heapq
from collections.abc import Iterator

from netcheck.circuit.conduction import TRANSISTORS
from netcheck.circuit.model import Circuit, Net, Pin
from netcheck.circuit.walk import Walks
from netcheck.ground.names import natural_key
from netcheck.language.values import unite
from netcheck.physics.driving import drives

Reasons = tuple[str, ...]

# Looked through as if they had no ohms; a capacitor passes what is to be heard.
_WIRES = frozenset({"link", "fuse", "ferrite", "inductor", "capacitor"})
_OHMS = frozenset({"resistor"})
_STOPS = frozenset({"rail", "ground", "chassis", "earth", "mains"})
_MAIN = {"emitter": "collector", "collector": "emitter", "source": "drain", "drain": "source"}


def outputs_behind(walks: Walks, net: str, up_to: float) -> tuple[tuple[Pin, ...], tuple[tuple[Pin, Reasons], ...]]:
    """Outputs that can be got to from a net through at most so many ohms in series.

    Counted are pins that surely drive (outputs of amplifiers and of logic) and transistors fed straight from a rail
    that send their current into the net; a transistor to ground, as one that mutes, drives nothing.

    Args:
        net: key, whatever its role: an output on a ground is what is looked for.
        up_to: ohms of the resistors in series; capacitors, beads, coils, fuses and links count as none.

    Returns:
        Surely, and perhaps with the reasons (a resistor without a readable value); each in natural order.
    """
    sure: list[Pin] = []
    perhaps: list[tuple[Pin, Reasons]] = []
    for key, doubt in _nets_within(walks, net, up_to).items():
        role = walks.circuit.nets[key].role
        if key != net and role in _STOPS:
            continue
        for pin in walks.circuit.pins_on(walks.circuit.nets[key]):
            if _is_output(walks.circuit, pin):
                if doubt:
                    perhaps.append((pin, doubt))
                else:
                    sure.append(pin)
    return (
        tuple(sorted(sure, key=lambda pin: natural_key(pin.key))),
        tuple(sorted(perhaps, key=lambda pair: natural_key(pair[0].key))),
    )


def _nets_within(walks: Walks, net: str, up_to: float) -> dict[str, Reasons]:
    """Nets within so many ohms, what is sure before what is in doubt and then by ohms; with the reasons for doubt."""
    found: dict[str, Reasons] = {}
    todo: list[tuple[int, float, str, Reasons]] = [(0, 0.0, net, ())]
    while todo:
        _, ohms, at, doubt = heapq.heappop(todo)
        if at in found:
            continue
        fellows = [fellow for fellow in walks.joined_by_cable(at) if fellow not in found]
        found.update(dict.fromkeys(fellows, doubt))
        for fellow in fellows:
            if fellow != net and walks.circuit.nets[fellow].role in _STOPS:
                continue
            for mate, further, why in _steps(walks, fellow):
                if mate not in found and ohms + further <= up_to:
                    reasons = unite(doubt, why)
                    heapq.heappush(todo, (len(reasons), ohms + further, mate, reasons))
    return found


def _steps(walks: Walks, net: str) -> Iterator[tuple[str, float, Reasons]]:
    """Nets one part away, the ohms of the part, and why they are in doubt."""
    for kind, pins in walks.on(net).items():
        for pin in pins if kind in _WIRES | _OHMS else ():
            part = walks.circuit.part_of(pin)
            ohms = part.value.number if kind in _OHMS else 0.0
            why = (f"{walks.said(part)} has the value '{part.value.text}'",) if ohms is None else ()
            if len(part.pins) == 2:
                yield from ((mate.net, ohms or 0.0, why) for mate in part.pins if mate.net != net)


def on_board(walks: Walks, net: str, kinds: frozenset[str], up_to: float) -> tuple[Net, ...]:
    """Nets of its own board that a net leads to, whatever cables join it with; it among them, natural order.

    Through parts of some kinds; contacts whose position is not given are taken as on. Rails and grounds are not passed,
    nor resistors of more than `up_to` ohms each; one without a readable value is.
    """
    found, todo = {net}, [net]
    for at in todo:
        if at != net and walks.circuit.nets[at].role in _STOPS:
            continue
        for kind, pins in walks.on(at).items():
            for pin in pins if kind in kinds else ():
                part = walks.circuit.part_of(pin)
                if kind == "resistor" and part.value.number is not None and part.value.number > up_to:
                    continue
                fresh = [other.net for other, _ in walks.across(pin) if other.net not in found]
                found.update(fresh)
                todo.extend(fresh)
    return tuple(walks.circuit.nets[key] for key in sorted(found, key=natural_key))


def _is_output(circuit: Circuit, pin: Pin) -> bool:
    part = circuit.part_of(pin)
    if part.kind not in TRANSISTORS:
        return drives(circuit, pin) is True
    others = part.by_role(_MAIN[pin.role]) if pin.role in _MAIN else ()
    return any(circuit.nets[other.net].role == "rail" for other in others)
