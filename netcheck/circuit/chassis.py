"""The parts of the case as a board of their own, so that they are recognised and judged like any others.

The nets of this board are made of the wires: pins and points that wires join inside the case are one net.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from netcheck.circuit.board import understand
from netcheck.circuit.model import Board, Hints
from netcheck.circuit.partbook import PartBook
from netcheck.circuit.words import Words
from netcheck.ground.names import natural_key
from netcheck.intake.assembly import CASE, CHASSIS, STUD, AssemblyFile, ChassisPart
from netcheck.intake.assemblyplaces import Place, Places
from netcheck.intake.chassisparts import pins_of, roles_of, sort_of, units_of
from netcheck.intake.netlist import Component, LibraryPin, Netlist, NetlistNet, Node

# The earth of the house: no part of the box, but what inlets and other equipment are joined to.
HOUSE_EARTH = "earth of the house"
_LIVE = "L"


@dataclass(frozen=True)
class Draft:
    """The chassis, written as a netlist.

    Attributes:
        hints: kinds, families and roles. net_names: of each pin ('switch.1') and point, the name of its net.
    """

    netlist: Netlist
    hints: Hints
    net_names: Mapping[str, str]


def needs_chassis(assembly: AssemblyFile) -> bool:
    """Whether there is anything that is on no board."""
    return bool(assembly.chassis or assembly.case or assembly.outside)


def draft_chassis(assembly: AssemblyFile, places: Places) -> Draft:
    """The chassis parts and the wires between them as a netlist with hints."""
    joined = _joined(assembly, places)
    components = [c for part in assembly.chassis for c in _components(part)]
    members: dict[str, list[str]] = {}
    for place in joined:
        members.setdefault(_senior(joined, place), []).append(place)
    points = set(assembly.points)
    nets, names = [], {}
    ordered = sorted(members.values(), key=lambda group: natural_key(min(group, key=natural_key)))
    for code, group in enumerate(ordered, start=1):
        name = _net_name(group, points)
        nodes = [_node(place, assembly) for place in sorted(group, key=natural_key) if place not in points]
        nodes = [node for node in nodes if node.reference]
        nets.append(NetlistNet(str(code), name, tuple(nodes)))
        names.update(dict.fromkeys(group, name))
    netlist = Netlist(assembly.file, assembly.digest, tuple(components), tuple(nets), source=CHASSIS)
    return Draft(netlist, _hints(assembly), MappingProxyType(names))


def chassis_board(draft: Draft, assembly: AssemblyFile, book: PartBook, words: Words, told: Hints) -> Board:
    """The chassis, understood. told: what comes over cables and from the file, on top of the draft's own hints."""
    hints = replace(
        draft.hints,
        net_roles={**draft.hints.net_roles, **told.net_roles},
        shared=told.shared,
        kinds={**draft.hints.kinds, **told.kinds},
        not_fitted=told.not_fitted,
    )
    board = understand(draft.netlist, CHASSIS, book, words, hints)
    units = {part.name: units_of(part) for part in assembly.chassis}
    parts = []
    for part in board.parts:
        own = units.get(part.ref, {})
        pins = tuple(replace(pin, unit=own.get(pin.number, pin.unit)) for pin in part.pins)
        parts.append(replace(part, pins=pins))
    remark = f"{len(assembly.chassis)} parts and their wires, from the assembly file"
    return replace(board, parts=tuple(parts), remarks=(remark,))


def inner(part: ChassisPart, pin: str) -> str:
    """Where a wire to a pin of a chassis part ends: behind the fuse, at the live contact of a fused inlet."""
    return f"{part.name} fuse.2" if part.fused and pin == _LIVE else f"{part.name}.{pin}"


def spelled(place: Place, assembly: AssemblyFile) -> str:
    """A place of the chassis as nets list it: 'switch.1', 'stud'."""
    if place.is_point:
        return place.pin
    return inner(assembly.chassis_parts[place.reference], place.pin)


def _joined(assembly: AssemblyFile, places: Places) -> dict[str, str]:
    """Every pin and point of the chassis, each with one that wires join it to (itself when none does)."""
    joined: dict[str, str] = {}
    for part in assembly.chassis:
        for pin in pins_of(part):
            joined.setdefault(inner(part, pin), inner(part, pin))
        if part.fused:
            joined[f"{part.name} fuse.1"] = joined[f"{part.name}.{_LIVE}"] = f"{part.name}.{_LIVE}"
    used = {wire.to.text for part in assembly.chassis for wire in part.wires}
    used |= {spot.text for spot in (assembly.case.touched_by if assembly.case else ())}
    wanted = [point for point in assembly.points if point in used or (point == CASE and assembly.case is not None)]
    joined.update({point: point for point in wanted})
    if assembly.case is not None and assembly.case.material == "metal":  # the stud is bolted to the case
        joined.setdefault(STUD, STUD)
        _unite(joined, CASE, STUD)
    if _earth_comes_in(assembly):
        joined[HOUSE_EARTH] = HOUSE_EARTH
    for part in assembly.chassis:
        for wire in part.wires:
            there = places.pin(wire.to)
            if there.board == CHASSIS:
                _unite(joined, inner(part, wire.pin.text), spelled(there, assembly))
    return joined


def _earth_comes_in(assembly: AssemblyFile) -> bool:
    inlets = any(part.sort == "mains inlet" and _wired(part, "PE") for part in assembly.chassis)
    return inlets or any(outside.earthed is not False for outside in assembly.outside)


def _wired(part: ChassisPart, pin: str) -> bool:
    return any(wire.pin.text == pin for wire in part.wires)


def _senior(joined: Mapping[str, str], place: str) -> str:
    while joined[place] != place:
        place = joined[place]
    return place


def _unite(joined: dict[str, str], a: str, b: str) -> None:
    joined.setdefault(a, a)
    joined.setdefault(b, b)
    first, second = sorted((_senior(joined, a), _senior(joined, b)), key=natural_key)
    joined[second] = first


def _net_name(group: Iterable[str], points: set[str]) -> str:
    named = [place for place in group if place in points or place == HOUSE_EARTH]
    if named:
        return CASE if CASE in named else min(named, key=natural_key)
    senior = min(group, key=natural_key)
    return f"Net-({senior})"


def _node(place: str, assembly: AssemblyFile) -> Node:
    if place == HOUSE_EARTH:
        return Node("", "")
    reference, _, pin = place.rpartition(".")
    line = next((part.line for part in assembly.chassis if part.name == reference), 0)
    return Node(reference, pin, pin, line=line)


def _components(part: ChassisPart) -> Iterable[Component]:
    flags = frozenset({"not on the board"})
    fields = [(name, text) for name, text in _fields(part) if text]
    yield Component(
        part.name,
        _value(part) or None,
        description=part.description,
        fields=tuple(fields),
        flags=flags,
        library_pins=tuple(LibraryPin(pin, pin) for pin in pins_of(part)),
        line=part.line,
    )
    if part.fused:
        pins = (LibraryPin("1", "1"), LibraryPin("2", "2"))
        yield Component(f"{part.name} fuse", part.fused, flags=flags, library_pins=pins, line=part.line)


def _value(part: ChassisPart) -> str:
    if part.value:
        return part.value
    if part.sort == "transformer":
        windings = [" + ".join(f"{volts:g} V" for volts in side) for side in (part.primary, part.secondaries)]
        power = f", {part.power:g} VA" if part.power else ""
        return f"{' / '.join(text for text in windings if text)}{power}"
    return f"{part.volts:g} V" if part.volts else ""


def _fields(part: ChassisPart) -> tuple[tuple[str, str], ...]:
    amps = f"{part.amps:g} A" if part.amps else ""
    regulation = f"{part.regulation * 100:g} %" if part.regulation else ""
    power = f"{part.power:g} VA" if part.power else ""
    return ("Current", amps), ("Power", power), ("Regulation", regulation)


def _hints(assembly: AssemblyFile) -> Hints:
    kinds = {part.name: sort_of(part).kind for part in assembly.chassis}
    kinds |= {f"{part.name} fuse": "fuse" for part in assembly.chassis if part.fused}
    roles = {(part.name, pin): role for part in assembly.chassis for pin, role in roles_of(part).items()}
    families = {part.name: sort_of(part).family for part in assembly.chassis if sort_of(part).family}
    net_roles: dict[str, tuple[str, float | None]] = {CASE: ("chassis", None), HOUSE_EARTH: ("earth", None)}
    return Hints(kinds=kinds, families=families, pin_roles=roles, net_roles=net_roles)
