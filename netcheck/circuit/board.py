"""From a netlist to a board that is understood: parts with kinds and roles, nets with names and roles, amplifiers."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from types import MappingProxyType

from netcheck.circuit.capacitors import read_polarity
from netcheck.circuit.connectors import read_connector
from netcheck.circuit.footprints import package
from netcheck.circuit.kinds import KindReading, library_part, read_kind
from netcheck.circuit.model import Board, Hints, Net, Part, Pin
from netcheck.circuit.nametables import NameTables, NotFitted, tables_of
from netcheck.circuit.partbook import PartBook
from netcheck.circuit.pins import RawPin, Subject, amplifiers_of, read_pins
from netcheck.circuit.rails import assign_net_roles
from netcheck.circuit.words import Words
from netcheck.ground.names import natural_key, plain
from netcheck.ground.quantities import PartValue, read_part_value
from netcheck.intake.netlist import Component, Netlist, NetlistNet, Node

# Names that the editor makes from a pin. They change when a part is renumbered and are nobody's words.
_MADE = re.compile(r"(?:.*/)?(?:Net-\(.*|unconnected-\(.*|N-\d+|N\$\d+)|", re.DOTALL)

# Whose pin names a net without a name: what is rare and telling first.
_SENIOR = MappingProxyType(
    dict.fromkeys(
        ("opamp", "comparator", "buffer", "power amplifier", "transconductance amplifier", "regulator", "reference",
         "converter", "logic", "microcontroller", "integrated circuit", "module", "transistor array"), 0
    )
    | dict.fromkeys(("npn", "pnp", "nmos", "pmos", "njfet", "pjfet", "valve", "thyristor", "optocoupler"), 1)
    | dict.fromkeys(("transformer", "relay", "inlet", "connector", "switch", "potentiometer"), 2)
)  # fmt: skip
_LAST = 3


def understand(netlist: Netlist, name: str, book: PartBook, words: Words, hints: Hints = Hints()) -> Board:  # noqa: B008
    """A board from its netlist.

    Args:
        name: of the board; keys begin with it. hints: what is told from outside.

    Returns:
        A board in which every component, pin and net of the file is found again.
    """
    tables = tables_of(words)
    nodes = _nodes_by_part(netlist)
    known = {component.reference for component in netlist.components}
    missing = [reference for reference in nodes if reference not in known]
    lost = tuple(Component(reference, None, line=nodes[reference][0].line) for reference in missing)
    parts = [
        _part(component, nodes.get(component.reference, ()), netlist, name, book, tables, hints)
        for component in (*netlist.components, *lost)
    ]
    parts.sort(key=lambda part: natural_key(part.ref))
    nets, placed = _nets(netlist, parts, name)
    wired = tuple(replace(part, pins=tuple(replace(pin, net=placed[pin.key]) for pin in part.pins)) for part in parts)
    return Board(
        name=name,
        netlist=netlist,
        parts=wired,
        nets=assign_net_roles(wired, nets, words, hints),
        amplifiers=tuple(amplifier for part in wired for amplifier in amplifiers_of(part)),
        remarks=_remarks(netlist, missing),
    )


def _nodes_by_part(netlist: Netlist) -> dict[str, list[Node]]:
    found: dict[str, list[Node]] = {}
    for net in netlist.nets:
        for node in net.nodes:
            found.setdefault(node.reference, []).append(node)
    return found


# Parts


def _part(
    component: Component,
    nodes: Iterable[Node],
    netlist: Netlist,
    board: str,
    book: PartBook,
    tables: NameTables,
    hints: Hints,
) -> Part:
    nodes = tuple(nodes)
    reference = component.reference
    raw = _raw_pins(component, nodes)
    found = read_kind(component, {pin.number: pin.name for pin in raw}, book, tables, hints)
    value = read_part_value(component.value or "", found.kind)
    case = package(component.footprint)
    told = hints.polarised.get(reference)
    polarity = read_polarity(component, found.kind, value, tables, told)
    record = found.record or book.generic(found.kind, _like(found.kind, case, tables))
    reading = read_pins(
        Subject(
            kind=found.kind,
            pins=raw,
            record=found.record,
            drawn_as=found.drawn_as,
            package=case,
            library_part=library_part(component),
            value=component.value or "",
            polarised=polarity.pads,
            units=component.units,
            told={number: role for (ref, number), role in hints.pin_roles.items() if ref == reference},
        ),
        tables,
    )
    part = Part(
        key=f"{board}/{reference}",
        board=board,
        ref=reference,
        kind=found.kind,
        because=found.because,
        value=value,
        pins=_pins(raw, nodes, reading.roles, board, reference),
        record=record,
        conflict="; ".join(clause for clause in (found.conflict, reading.conflict, polarity.conflict) if clause),
        fitted=_is_fitted(component, value, tables.not_fitted) and reference not in hints.not_fitted,
        on_board="not on the board" not in component.flags,
        footprint=component.footprint,
        package=case,
        library_part=component.library_part,
        description=component.description,
        fields=MappingProxyType(dict(component.fields)),
        sheet=component.sheet,
        polarised=polarity.polarised,
        missing_units=reading.missing_units,
        misdrawn=reading.misdrawn,
        two_types=found.two_types,
        file=netlist.file,
        line=component.line,
    )
    return _with_connector(part, found, tables, hints)


def _raw_pins(component: Component, nodes: tuple[Node, ...]) -> tuple[RawPin, ...]:
    """Pins that nets list and pins that only the library part has, each once, in natural order."""
    library = {pin.number: pin for pin in component.library_pins}
    found: dict[str, RawPin] = {}
    for node in nodes:
        found.setdefault(node.pin, RawPin(node.pin, node.name, node.type))
    for number, pin in library.items():
        if number not in found:
            found[number] = RawPin(number, pin.name, pin.type, listed=False)
    for unit in component.units:
        for number in unit.pins:
            found.setdefault(number, RawPin(number, listed=False))
    return tuple(sorted(found.values(), key=lambda pin: natural_key(pin.number)))


def _pins(
    raw: tuple[RawPin, ...],
    nodes: tuple[Node, ...],
    roles: Mapping[str, tuple[str, str]],
    board: str,
    reference: str,
) -> tuple[Pin, ...]:
    flagged = {node.pin for node in nodes if node.flagged_open}
    return tuple(
        Pin(
            key=f"{board}/{reference}.{pin.number}",
            part=f"{board}/{reference}",
            board=board,
            number=pin.number,
            net="",
            name=pin.name,
            type=pin.type,
            role=roles[pin.number][0],
            unit=roles[pin.number][1],
            flagged_open=pin.number in flagged,
            listed=pin.listed,
        )
        for pin in raw
    )


def _with_connector(part: Part, found: KindReading, tables: NameTables, hints: Hints) -> Part:
    if found.kind not in ("connector", "inlet"):
        return part
    numbers = [pin.number for pin in part.pins]
    told = hints.families.get(part.ref, ""), hints.keyed.get(part.ref)
    reading = read_connector(part.footprint, part.library_part, numbers, tables, *told)
    return replace(
        part,
        family=reading.family,
        keyed=reading.keyed,
        rows=reading.rows,
        positions=reading.positions,
        pitch=reading.pitch,
    )


def _like(kind: str, case: str, tables: NameTables) -> str:
    """Which generic record of a kind: a transistor in a case that is bolted down is a power device."""
    if kind not in ("npn", "pnp", "nmos", "pmos") or not case:
        return ""
    return "power" if tables.power_cases.fit(case) else "small"


def _is_fitted(component: Component, value: PartValue, words: NotFitted) -> bool:
    if value.not_fitted or "not fitted" in component.flags or (component.value or "").strip().upper() in words.words:
        return False
    for name, content in component.fields:
        key, text = name.strip().upper(), content.strip().upper()
        if key in words.fields_set and (text in words.yes or not text):
            return False
        if key in words.fields_fitted and text in words.no:
            return False
        if key in words.fields_of_words and text in words.words:
            return False
    return True


# Nets


def _nets(netlist: Netlist, parts: list[Part], board: str) -> tuple[tuple[Net, ...], dict[str, str]]:
    """Nets without roles, and the key of the net that each pin is on."""
    pins = {(part.ref, pin.number): pin for part in parts for pin in part.pins}
    rank = {pin.key: (_SENIOR.get(part.kind, _LAST), natural_key(pin.key)) for part in parts for pin in part.pins}
    drafts: list[tuple[NetlistNet, tuple[str, ...]]] = []
    for net in netlist.nets:
        on = {pins[node.reference, node.pin].key for node in net.nodes}
        drafts.append((net, tuple(sorted(on, key=natural_key))))
    drafts.sort(key=lambda draft: min((rank[key] for key in draft[1]), default=(_LAST + 1, natural_key(draft[0].code))))
    taken: dict[str, int] = {}
    nets: list[Net] = []
    placed: dict[str, str] = {}
    for net, keys in drafts:
        given = given_name(net.name)
        senior = min(keys, key=lambda key: rank[key], default="")
        wanted = f"{board}/net/{given}" if given or not senior else f"{board}/net of {senior.removeprefix(board + '/')}"
        taken[wanted] = taken.get(wanted, 0) + 1
        key = wanted if taken[wanted] == 1 else f"{wanted} ({taken[wanted]})"
        flagged = bool(net.nodes) and all(node.flagged_open for node in net.nodes)
        nets.append(Net(key, board, given, net.code, keys, flagged_open=flagged, line=net.line))
        for pin_key in keys:
            placed.setdefault(pin_key, key)
    for part in parts:
        for pin in part.pins:
            if pin.key not in placed:
                key = f"{board}/net of {part.ref}.{pin.number}"
                placed[pin.key] = key
                nets.append(Net(key, board, "", "", (pin.key,), line=part.line))
    return tuple(sorted(nets, key=lambda net: natural_key(net.key))), placed


def given_name(name: str) -> str:
    """A net's name as the designer gave it, without the slash of the root sheet; '' when the editor made it.

    >>> given_name("/+15V"), given_name("/amp/OUT"), given_name("Net-(C8-Pad2)"), given_name("unconnected-(U1-Pad5)")
    ('+15V', 'amp/OUT', '', '')
    """
    return "" if _MADE.fullmatch(name) else name.removeprefix("/")


def _remarks(netlist: Netlist, lost: list[str]) -> tuple[str, ...]:
    tool = plain(netlist.tool, 60) or "an unnamed tool"
    said = [
        f"format version {plain(netlist.version, 20) or 'not given'}, written by {tool}",
        f"dated {plain(netlist.date, 40)}" if netlist.date else "not dated",
        f"{len(netlist.components)} components, {len(netlist.nets)} nets",
        f"SHA-256 {netlist.digest}",
    ]
    said += [f"{oddity.what}: {oddity.reference} pin {oddity.pin}, line {oddity.line}" for oddity in netlist.oddities]
    said += [f"nets name pins of {plain(reference, 40)}, which is no component of the file" for reference in lost]
    return (*said, *(plain(note) for note in netlist.notes))
