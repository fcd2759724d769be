"""An assembly as it was understood, for a terminal: what `netcheck read` prints before the boards of an assembly."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from netcheck.circuit.assemble import Assembled, Lead, Wire
from netcheck.circuit.model import Net, Part
from netcheck.ground.names import natural_key, plain, spoken_list
from netcheck.ground.units import AMPERE, CELSIUS, KELVIN_PER_WATT, METRE, OHM, VOLT, show
from netcheck.intake.assembly import CASE, CHASSIS, ChassisPart, Position
from netcheck.report.display import Names
from netcheck.report.wording import counted, prose

# Lines under one heading; what there is beyond is counted.
MOST_LINES = 80
_GROUNDS = frozenset({"ground", "chassis", "earth"})
_STANDS = frozenset({"switch", "jumper", "button", "relay", "potentiometer", "trimmer"})


def assembly_text(assembled: Assembled, caution: str = "") -> str:
    """Boards, chassis, leads with their wires, the case, positions, signals; what was inferred; what is not told.

    Args:
        caution: on mains; printed where mains occurs.
    """
    names = Names(assembled.circuit)
    sections = (
        ("Boards", _boards(assembled)),
        ("Parts in the case", _chassis(assembled)),
        ("Cables", _cables(assembled, names)),
        ("Case", _case(assembled, names)),
        ("Heatsinks", _sinks(assembled, names)),
        ("Positions", _positions(assembled)),
        ("Signals", _signals(assembled)),
        ("What the boards tell each other", _inferred(assembled, names)),
        ("Not told", _not_told(assembled, names)),
    )
    lines = [_title(assembled)]
    if caution and any(net.role == "mains" for net in assembled.circuit.nets.values()):
        lines += ["", *textwrap.wrap(caution, 100)]
    for heading, found in sections:
        rows = list(found)
        if rows:
            lines += ["", heading]
            for row in rows[:MOST_LINES]:
                indent = "    " if row.startswith(" ") else "  "
                lines += textwrap.wrap(prose(row, 2000), 100, initial_indent=indent, subsequent_indent=indent + "    ")
            if len(rows) > MOST_LINES:
                lines.append(f"  and {len(rows) - MOST_LINES} more")
    return "\n".join(lines) + "\n"


def _title(assembled: Assembled) -> str:
    file = assembled.file
    revision = f", revision {plain(file.revision)}" if file.revision else ""
    size = f"{counted(len(file.boards), 'board')}, {counted(len(file.cables), 'cable')}, "
    size += counted(len(file.chassis), "part in the case", "parts in the case")
    return prose(f"{file.name}{revision}: {size}; {counted(file.build, 'set')}", 200)


def _boards(assembled: Assembled) -> Iterator[str]:
    for entry in assembled.file.boards:
        parts = next((len(b.parts) for b in assembled.circuit.boards if b.name == entry.name), 0)
        twin = assembled.twins.get(entry.name)
        same = f", the same as {twin}" if twin else ""
        yield f"{entry.name}: {entry.netlist}, {counted(parts, 'part')}{same}"


# The chassis


def _chassis(assembled: Assembled) -> Iterator[str]:
    for part in assembled.file.chassis:
        yield f"{part.name}: {', '.join(_said_of(part))}"
        for wire in part.wires:
            yield f"  {wire.pin.text} to {wire.to.text}"


def _said_of(part: ChassisPart) -> Iterator[str]:
    yield part.sort
    if part.value or part.description:
        yield " ".join(word for word in (part.value, part.description) if word)
    if part.fused:
        yield f"fuse {part.fused}"
    if part.primary:
        windings = spoken_list([show(volts, VOLT) for volts in part.secondaries])
        yield f"{spoken_list([show(volts, VOLT) for volts in part.primary])} to {windings}"
    if part.power is not None:
        yield f"{part.power:g} VA"
    if part.regulation is not None:
        yield f"regulation {part.regulation:.0%}"
    yield from (show(value, unit) for value, unit in ((part.volts, VOLT), (part.amps, AMPERE)) if value is not None)
    if part.length is not None:
        yield f"wires of {show(part.length, METRE)}"
    if part.area is not None:
        yield _gauge(part.area)
    if part.sort == "switch":
        yield counted(part.poles, "pole")
    if part.gangs > 1:
        yield f"{part.gangs} gangs"


def _gauge(area: float) -> str:
    return f"{area * 1e6:.3g} mm²"


# Cables


def _cables(assembled: Assembled, names: Names) -> Iterator[str]:
    for lead in assembled.leads:
        yield f"{lead.name}: {names.name(lead.near)} to {names.name(lead.far)}, {', '.join(_said_of_lead(lead))}"
        for wire in lead.wires:
            yield f"  {_wire(wire, assembled, names)}"


def _said_of_lead(lead: Lead) -> Iterator[str]:
    if lead.direct:
        yield "plugged together"
    yield counted(len(lead.numbers), "wire")
    if lead.length is not None:
        yield show(lead.length, METRE)
    areas = {wire.area for wire in lead.wires if wire.area is not None}
    yield from (_gauge(area) for area in sorted(areas))
    if lead.keyed is not None:
        yield "keyed" if lead.keyed else "not keyed"
    if lead.balanced:
        yield "balanced"
    if lead.screened:
        ends = counted(len(lead.screen_ends), "end")
        yield f"screened, joined at {ends}"
    if lead.bundled:
        yield f"tied to the {spoken_list(sorted(key.removeprefix('cable/') for key in lead.bundled))}"


def _wire(wire: Wire, assembled: Assembled, names: Names) -> str:
    name = "screen" if wire.kind == "screen" else wire.key.rsplit("/", 1)[-1]
    ends = []
    for key in wire.nets:
        own = assembled.alone.get(key) or assembled.circuit.nets[key]
        ends.append(f"{names.name(key)} ({_role(own)})")
    return f"{name}: {ends[0]} to {ends[1]}"


def _role(net: Net) -> str:
    return f"{net.role}, {show(net.volts, VOLT)}" if net.role == "rail" and net.volts is not None else net.role


# Case, heatsinks, positions, signals


def _case(assembled: Assembled, names: Names) -> Iterator[str]:
    case = assembled.file.case
    if case is None:
        return
    yield case.material or "of what it is made is not given"
    for wire in assembled.wires:
        if wire.kind == "case":
            yield f"touched by {wire.key.removeprefix('bond/')}, on {names.name(wire.nets[0])}"
    stud = next((net for net in assembled.circuit.nets.values() if net.board == CHASSIS and net.name == CASE), None)
    for pin in assembled.circuit.pins_on(stud) if stud is not None else ():
        yield f"joined by a wire to {names.name(pin.key)}"


def _sinks(assembled: Assembled, names: Names) -> Iterator[str]:
    for sink in assembled.sinks:
        to_air = f", {show(sink.to_air, KELVIN_PER_WATT)} to air" if sink.to_air is not None else ""
        apart = f"; insulated: {names.listed(sink.insulated)}" if sink.insulated else ""
        yield f"{names.listed(sink.parts)}{to_air}{apart}"
    if assembled.file.ambient is not None:
        yield f"the air that cools them: {show(assembled.file.ambient, CELSIUS)}"


def _positions(assembled: Assembled) -> Iterator[str]:
    for position in assembled.file.positions:
        yield f"{position.at.text}: {_stands(position)}"


def _stands(position: Position) -> str:
    if position.word:
        return position.word
    if position.share is not None:
        return f"{position.share:.0%} of its turn"
    if position.number is not None:
        return f"position {position.number}"
    return "joins " + spoken_list(["+".join(group) for group in position.joins])


def _signals(assembled: Assembled) -> Iterator[str]:
    for end in assembled.file.inputs:
        back = f", return {end.back.text}" if end.back else ""
        source = f", from {show(end.source_ohms, OHM)}" if end.source_ohms is not None else ""
        level = f", at most {show(end.largest_volts, VOLT)}" if end.largest_volts is not None else ""
        yield f"in at {end.at.text}{back}{source}{level}"
    for out in assembled.file.outputs:
        back = f", return {out.back.text}" if out.back else ""
        loads = f", into {spoken_list([show(ohms, OHM) for ohms in out.loads])}" if out.loads else ""
        yield f"out at {out.at.text}{back}{loads}"
    for outside in assembled.file.outside:
        told = {True: "is earthed", False: "is not earthed", None: "is earthed or not, not known"}[outside.earthed]
        yield f"what hangs at {outside.at.text} {told}"


# What was inferred, and what is missing


def _inferred(assembled: Assembled, names: Names) -> Iterator[str]:
    """Nets that a board by itself takes for something else than with what comes over its leads."""
    for key, net in sorted(assembled.circuit.nets.items(), key=lambda item: natural_key(item[0])):
        own = assembled.alone.get(key)
        if own is not None and own.board != CHASSIS and _role(own) != _role(net):
            yield f"{names.name(key)}: {_role(net)}; its own board says {_role(own)}"
    on_mains = [net for net in assembled.circuit.nets.values() if net.role == "mains"]
    parts = sorted({pin.part for net in on_mains for pin in assembled.circuit.pins_on(net)}, key=natural_key)
    if parts:
        yield f"on the mains: {names.listed(parts)}"


def _not_told(assembled: Assembled, names: Names) -> Iterator[str]:
    yield from assembled.remarks
    for lead in assembled.leads:
        missing = list(_missing_of(lead, assembled))
        if missing:
            yield f"of the {lead.name}: {spoken_list(missing)}"
    open_ones = [part for part in _parts(assembled, {"connector"}) if part.pins and not _is_told(part, assembled)]
    for part in open_ones:
        yield f"what {names.name(part.key)} is joined to"
    for part in _parts(assembled, _STANDS):
        if part.key not in assembled.positions and part.kind in ("switch", "jumper", "button"):
            yield f"the position of {names.name(part.key)}"
    if assembled.file.case is None:
        yield "the case"
    for winder in (part for part in assembled.file.chassis if part.sort == "transformer"):
        asked = (("power", winder.power), ("regulation", winder.regulation))
        if lacking := [word for word, value in asked if value is None]:
            yield f"of {winder.name}: {spoken_list(lacking)}"
    if not assembled.file.inputs and not assembled.file.outputs:
        yield "where signals come in and go out"


def _missing_of(lead: Lead, assembled: Assembled) -> Iterator[str]:
    housings = [assembled.circuit.parts[key].keyed for key in (lead.near, lead.far)]
    if lead.keyed is None and not lead.direct and True not in housings and None in housings:
        yield "whether it is keyed"
    if not lead.direct:
        yield from (word for word, value in (("length", lead.length), ("gauge", _area(lead))) if value is None)


def _area(lead: Lead) -> float | None:
    return next((wire.area for wire in lead.wires if wire.area is not None), None)


def _parts(assembled: Assembled, kinds: Iterable[str]) -> list[Part]:
    wanted = frozenset(kinds)
    found = (part for part in assembled.circuit.parts.values() if part.kind in wanted and part.fitted)
    return sorted(found, key=lambda part: natural_key(part.key))


def _is_told(part: Part, assembled: Assembled) -> bool:
    return part.board == CHASSIS or any(pin.key in assembled.mated for pin in part.pins)
