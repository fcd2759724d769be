"""The same board in other words: another order, other codes, other references, another generation's clauses."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from random import Random

from netcheck.intake.contents import read_contents
from netcheck.intake.netlist import Component, LibraryPin, Netlist, NetlistNet, Node
from netcheck.intake.scan import scan
from netcheck.intake.text import decode

MADE_BY_THE_EDITOR = re.compile(r"(Net-|unconnected-)\(.*\)$")
NEEDS_QUOTES = re.compile(r'[\s()"\\;{}%]|^$')


def read_by_scan(path: Path) -> Netlist:
    """By the scan alone, which gives the same as the whole reader and is quick."""
    return read_by_scan_of(decode(path.read_bytes(), path.name)[0], path.name)


def read_by_scan_of(text: str, name: str = "rewritten.net") -> Netlist:
    return read_contents(scan(text, name)[0], name, "")


# The same netlist in another order


def shuffled(netlist: Netlist, random: Random) -> Netlist:
    """Components, nets, nodes, fields and pins of libraries in another order, with other codes and lines."""
    codes = random.sample(range(1, 9999), len(netlist.nets))
    new_code = {net.code: str(code) for net, code in zip(netlist.nets, codes, strict=True)}

    def other(items: Iterable[object]) -> tuple:  # type: ignore[type-arg]
        listed = list(items)
        return tuple(random.sample(listed, len(listed)))

    components = [
        replace(each, library_pins=other(each.library_pins), fields=other(each.fields), line=random.randrange(1, 9999))
        for each in netlist.components
    ]
    nets = [
        replace(
            net,
            code=new_code[net.code],
            nodes=other(replace(node, line=random.randrange(1, 9999)) for node in net.nodes),
            line=random.randrange(1, 9999),
        )
        for net in netlist.nets
    ]
    oddities = [replace(odd, nets=tuple(new_code[code] for code in odd.nets)) for odd in netlist.oddities]
    return replace(netlist, components=other(components), nets=other(nets), oddities=tuple(oddities))


# Other names


def with_references(netlist: Netlist, names: Mapping[str, str]) -> Netlist:
    """Other references; nets that the editor named after a pin are named after the new reference."""

    def net_name(name: str) -> str:
        if not MADE_BY_THE_EDITOR.match(name):
            return name
        return re.sub(r"\(([^-()]+)-", lambda found: f"({names.get(found[1], found[1])}-", name)

    nets = tuple(
        replace(
            net,
            name=net_name(net.name),
            nodes=tuple(replace(node, reference=names[node.reference]) for node in net.nodes),
        )
        for net in netlist.nets
    )
    components = tuple(replace(each, reference=names[each.reference]) for each in netlist.components)
    return replace(netlist, components=components, nets=nets)


def with_net_names(netlist: Netlist, names: Mapping[str, str]) -> Netlist:
    """Other names of nets, by their codes."""
    return replace(netlist, nets=tuple(replace(net, name=names.get(net.code, net.name)) for net in netlist.nets))


# Parts that have nothing to do with the rest


def with_strangers(netlist: Netlist) -> Netlist:
    """A divider between two sockets of its own, each part and net called as no other is."""
    pins = (LibraryPin("1", "", "passive"), LibraryPin("2", "", "passive"))
    footprint = "Resistor_THT:R_Axial_DIN0207_L6.3mm_D2.5mm_P10.16mm_Horizontal"
    plug = "Connector_Molex:Molex_KK-254_AE-6410-02A_1x02_P2.54mm_Vertical"
    resistor = Component("R901", "10k", footprint, "Device", "R", "Resistor", library_pins=pins)
    socket = Component("J901", "Conn_01x02", plug, "Connector_Generic", "Conn_01x02", library_pins=pins)
    added = (
        resistor,
        replace(resistor, reference="R902", value="22k"),
        socket,
        replace(socket, reference="J902"),
    )
    places = {
        "STRANGE_IN": (("J901", "1"), ("R901", "1")),
        "STRANGE_OUT": (("R901", "2"), ("R902", "1"), ("J902", "1")),
        "STRANGE_RETURN": (("J901", "2"), ("R902", "2"), ("J902", "2")),
    }
    nets = tuple(
        NetlistNet(f"99{at}", name, tuple(Node(reference, pin, "", "passive") for reference, pin in nodes))
        for at, (name, nodes) in enumerate(places.items())
    )
    return replace(netlist, components=(*added, *netlist.components), nets=(*nets, *netlist.nets))


def without(netlist: Netlist, references: Iterable[str]) -> Netlist:
    gone = set(references)
    nets = tuple(
        replace(net, nodes=tuple(node for node in net.nodes if node.reference not in gone)) for net in netlist.nets
    )
    components = tuple(each for each in netlist.components if each.reference not in gone)
    return replace(netlist, components=components, nets=tuple(net for net in nets if net.nodes))


# The clauses of other generations


def old_text(netlist: Netlist) -> str:
    """As generations up to 5 wrote it: words bare where they can be, names and types of pins in the library only.

    What those files do not hold is lost: which pins were marked as open, flags, units. Nets without a name of the
    designer's are named after their first pin.
    """
    lines = ["(export (version D)", "  (design", '    (tool "Eeschema 4.0.7"))', "  (components"]
    lines += [_old_component(each) for each in netlist.components]
    lines[-1] += ")"
    lines += ["  (libparts"]
    libraries = {(each.library, each.library_part): each for each in netlist.components}
    lines += [_old_library_part(each) for each in libraries.values()]
    lines[-1] += ")"
    lines += ["  (nets"]
    for code, net in enumerate(netlist.nets, start=1):
        name = net.name
        if MADE_BY_THE_EDITOR.match(name):
            name = f"Net-({net.nodes[0].reference}-Pad{net.nodes[0].pin})"
        nodes = "".join(f"\n      (node (ref {_word(n.reference)}) (pin {_word(n.pin)}))" for n in net.nodes)
        lines.append(f"    (net (code {code}) (name {_word(name)}){nodes})")
    return "\n".join(lines) + "))\n"


def _old_component(each: Component) -> str:
    fields = "".join(f"\n        (field (name {_word(name)}) {_word(text)})" for name, text in each.fields)
    pieces = [
        f"    (comp (ref {_word(each.reference)})",
        f"      (value {_word(each.value or '~')})",
        f"      (footprint {_word(each.footprint)})" if each.footprint else "",
        f"      (fields{fields})" if fields else "",
        f"      (libsource (lib {_word(each.library)}) (part {_word(each.library_part)}))",
        f"      (sheetpath (names {_word(each.sheet)}) (tstamps /)))",
    ]
    return "\n".join(piece for piece in pieces if piece)


def _old_library_part(each: Component) -> str:
    pins = "".join(
        f"\n        (pin (num {_word(pin.number)}) (name {_word(pin.name or '~')}) (type {pin.type or 'passive'}))"
        for pin in each.library_pins
    )
    head = f"    (libpart (lib {_word(each.library)}) (part {_word(each.library_part)})"
    return f"{head}\n      (description {_word(each.description)})\n      (pins{pins}))"


def _word(text: str) -> str:
    if not NEEDS_QUOTES.search(text):
        return text
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
