"""Changing numbers, types and what is told of a circuit; looking round for places."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace

from planting import Planted, Site, changed, ends, planted

from netcheck.circuit.model import Amplifier, Part
from netcheck.intake.netlist import Netlist

SCALES = {"capacitor": ((1e-6, "u"), (1e-9, "n"), (1e-12, "p")), "resistor": ((1e6, "M"), (1e3, "k"), (1.0, "R"))}


def with_value(netlist: Netlist, part: Part, number: float, tail: str | None = None) -> Netlist:
    """Another number at a part; what stands behind its value (a rating) stays unless told otherwise."""
    ending = " ".join(part.value.text.split()[1:]) if tail is None else tail
    scale, letter = next((one for one in SCALES[part.kind] if number >= one[0]), SCALES[part.kind][-1])
    written = f"{float(f'{number / scale:.3g}'):g}{letter}"
    return changed(netlist, part.ref, lambda component: replace(component, value=f"{written} {ending}".strip()))


def number(part: Part) -> float:
    return part.value.number or 0.0


def with_type(netlist: Netlist, reference: str, name: str) -> Netlist:
    return changed(netlist, reference, lambda component: replace(component, value=name, library_part=name))


def with_resistor(netlist: Netlist, like: Part, reference: str, ohms: str, one: str, other: str) -> Netlist:
    """One more resistor between two nets, made like one that is there."""
    pattern = next(component for component in netlist.components if component.reference == like.ref)
    numbers = {one: like.pins[0].number, other: like.pins[1].number}
    nets = tuple(
        replace(net, nodes=(*net.nodes, replace(net.nodes[0], reference=reference, pin=numbers[net.name])))
        if net.name in numbers
        else net
        for net in netlist.nets
    )
    added = replace(pattern, reference=reference, value=ohms)
    return replace(netlist, nets=nets, components=(*netlist.components, added))


def scaled(site: Site, what: str, parts: Iterable[Part], factor: float, keys: Iterable[str] = ()) -> Planted:
    """Several parts with their values times a factor."""
    netlist, some = site.netlist, list(parts)
    for part in some:
        netlist = with_value(netlist, part, number(part) * factor)
    return planted(site, what, [*(part.key for part in some), *keys], netlist)


def part(site: Site, reference: str) -> Part:
    return next(part for part in site.board.parts if part.ref == reference)


def across(site: Site, one: str, other: str, *kinds: str) -> list[Part]:
    """Parts of two ends between two nets, by key."""
    return [p for p in site.parts(*kinds) if len(p.pins) == 2 and {pin.net for pin in p.pins} == {one, other}]


def feedback(site: Site, amp: Amplifier, *kinds: str) -> list[Part]:
    return across(site, site.pin(amp.output).net, site.pin(amp.minus).net, *kinds)


def emitter_resistors(site: Site) -> Iterator[tuple[Part, Part, str]]:
    """Pairs of equal small resistors from two emitters of opposite kind to one net."""
    found: dict[str, list[tuple[str, Part]]] = {}
    for resistor in site.parts("resistor"):
        for near, far in (ends(resistor), ends(resistor)[::-1]):
            kinds = {p.kind for p, pin in site.on(near.net) if p.kind in ("npn", "pnp") and pin.role == "emitter"}
            if len(kinds) == 1 and site.role(far) == "signal" and number(resistor) < 22:
                found.setdefault(far.net, []).append((kinds.pop(), resistor))
    for net, some in found.items():
        if {kind for kind, _ in some} == {"npn", "pnp"} and len(some) == 2:
            yield some[0][1], some[1][1], net


def devices_at(site: Site, resistor: Part) -> list[str]:
    nets = {pin.net for pin in resistor.pins}
    return [p.key for p in site.parts("npn", "pnp") for pin in p.pins if pin.role == "emitter" and pin.net in nets]


def told_instead(site: Site, what: str, pattern: str, new: str, keys: Iterable[str]) -> Iterator[Planted]:
    """Something else is told of the circuit, wherever the pattern stands in what is told."""
    about, count = re.subn(pattern, new, site.told)
    if count:
        yield planted(site, what, keys, site.netlist, told=about)
