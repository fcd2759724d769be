"""From clauses to a `Netlist`: what each generation of the format says, in one form.

Version "D" (generations up to 5) names pins and their types in the library parts only; version "E" (6 to 10) in the
nodes too. Which is which is told from the clauses that are there, not from the version or the tool.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from netcheck.ground.names import plain
from netcheck.ground.problems import Problem, Refused
from netcheck.intake.netlist import Component, LibraryPin, Netlist, NetlistNet, Node, Oddity, Unit
from netcheck.intake.scan import Clause, misplaced

_FLAGS = {
    "dnp": "not fitted",
    "exclude_from_bom": "not in the bill",
    "exclude_from_board": "not on the board",
}
# The schematic's own words for the same, which other writers use: the flag is meant when the answer is no.
_FLAGS_BY_NO = {"in_bom": "not in the bill", "on_board": "not on the board"}
_NO = frozenset({"no", "false", "0"})

# fmt: off
_KNOWN_IN_COMPONENT = frozenset(
    {
        "ref", "value", "footprint", "datasheet", "description", "fields", "field", "libsource", "property",
        "sheetpath", "tstamp", "tstamps", "units", "component_classes", *_FLAGS, *_FLAGS_BY_NO,
    }
)
# fmt: on
_KNOWN_IN_EXPORT = frozenset({"version", "design", "components", "libparts", "libraries", "nets"})
MOST_NOTES = 20


@dataclass(frozen=True, slots=True)
class _LibraryPart:
    description: str = ""
    pins: tuple[LibraryPin, ...] = ()


_Library = dict[tuple[str, str], _LibraryPart]


def read_contents(root: Clause, file: str, digest: str) -> Netlist:
    """Everything that the clauses of a netlist say.

    Args:
        root: the outermost clause, of `scan`.
        file: name for messages. digest: SHA-256 of the bytes, kept in the result.

    Raises:
        Refused: when this is no netlist, a section is missing, a component has no reference or shares it, or a net
            or node lacks what tells it apart.

    >>> from netcheck.intake.scan import scan
    >>> text = '(export (components (comp (ref R1) (value 4k7))) (nets (net (code 1) (node (ref R1) (pin 2)))))'
    >>> netlist = read_contents(scan(text, "amp.net")[0], "amp.net", "")
    >>> netlist.components[0].value, netlist.nets[0].nodes[0].pin
    ('4k7', '2')
    """
    _refuse_damaged(root, file)
    design = root.first("design") or Clause("design", 0, 0)
    components = _components(root, file, _library(root))
    by_reference = {component.reference: component for component in components}
    nets = _nets(root, file, by_reference)
    return Netlist(
        file=file,
        digest=digest,
        components=components,
        nets=nets,
        oddities=tuple(_oddities(nets, by_reference)),
        version=root.text("version"),
        tool=design.text("tool"),
        date=design.text("date"),
        source=design.text("source"),
        notes=_notes(root, design),
    )


def _refuse_damaged(root: Clause, file: str) -> None:
    if root.name != "export":
        what = f"'({plain(root.name, 40)}' stands here; a netlist begins with '(export'"
        raise Refused(Problem(file, root.line, root.column, what))
    for section in ("components", "nets"):
        if root.first(section) is None:
            what = f"the netlist has no '({section} …)'; it is cut short or was written by something else"
            raise Refused(Problem(file, root.line, root.column, what))
    wrong = misplaced(root)
    if wrong is not None:
        holder, child = wrong
        what = (
            f"'({child.name}' stands inside '({plain(holder.name)}' of line {holder.line}; a parenthesis is misplaced"
        )
        raise Refused(Problem(file, child.line, child.column, what))


# Library parts


def _library(root: Clause) -> _Library:
    """Library parts under the name of each and under its aliases, also with the letters' case levelled.

    Old libraries wrote names in capitals, so that a component of VRX2 comes with the library part VRx2.
    """
    exact: _Library = {}
    for section in root.all("libparts"):
        for clause in section.all("libpart"):
            pins = tuple(
                LibraryPin(pin.text("num"), _pin_name(pin.text("name")), pin.text("type"))
                for group in clause.all("pins")
                for pin in group.all("pin")
            )
            part = _LibraryPart(clause.text("description"), pins)
            aliases = (" ".join(alias.texts) for group in clause.all("aliases") for alias in group.all("alias"))
            for name in (clause.text("part"), *aliases):
                exact.setdefault((clause.text("lib"), name), part)
    levelled = {(library.casefold(), name.casefold()): part for (library, name), part in reversed(exact.items())}
    return levelled | exact


def _pin_name(text: str) -> str:
    """A lone ~ is how the format writes a pin without a name."""
    return "" if text == "~" else text


# Components


def _components(root: Clause, file: str, library: _Library) -> tuple[Component, ...]:
    components: list[Component] = []
    lines: dict[str, int] = {}
    for section in root.all("components"):
        for clause in section.all("comp"):
            component = _component(clause, file, library)
            reference = component.reference
            if reference in lines:
                what = f"'{plain(reference)}' is here for the second time, after line {lines[reference]}"
                hint = "number the parts anew in the schematic and export again"
                raise Refused(Problem(file, clause.line, clause.column, f"{what}; {hint}"))
            lines[reference] = clause.line
            components.append(component)
    if not components:
        what = "the netlist lists no components; was an empty sheet exported?"
        raise Refused(Problem(file, root.line, root.column, what))
    return tuple(components)


def _component(clause: Clause, file: str, library: _Library) -> Component:
    reference = clause.text("ref")
    if not reference:
        raise Refused(Problem(file, clause.line, clause.column, "this component has no reference"))
    source = clause.first("libsource") or Clause("libsource", 0, 0)
    part = (source.text("lib"), source.text("part"))
    levelled = (part[0].casefold(), part[1].casefold())
    library_part = library.get(part) or library.get(levelled) or _LibraryPart()
    fields = tuple(_fields(clause))
    properties, flags = _properties(clause, fields)
    descriptions = (clause.text("description"), source.text("description") or library_part.description)
    stamps = clause.first("tstamps", "tstamp")
    return Component(
        reference=reference,
        value=None if clause.first("value") is None else clause.text("value"),
        footprint=clause.text("footprint"),
        library=part[0],
        library_part=part[1],
        description="; ".join(dict.fromkeys(text for text in descriptions if text)),
        fields=fields,
        properties=properties,
        flags=flags,
        sheet=(clause.first("sheetpath") or clause).text("names", "name") or "/",
        units=tuple(_units(clause)),
        library_pins=library_part.pins,
        timestamps=() if stamps is None else tuple(stamps.texts),
        line=clause.line,
    )


def _fields(clause: Clause) -> Iterator[tuple[str, str]]:
    for section in (*clause.all("fields"), clause):  # other writers leave the holder out
        for found in section.all("field"):
            yield found.text("name"), " ".join(found.texts) or found.text("value")


def _properties(
    clause: Clause, fields: tuple[tuple[str, str], ...]
) -> tuple[tuple[tuple[str, str], ...], frozenset[str]]:
    """Properties that are neither fields nor flags, and the flags.

    A field of the user is listed a second time as a property. A flag is a property (or a clause of its own) in the
    editor's spelling, without a value or with one that does not say no; a user's field "DNP" is not one.
    """
    kept: list[tuple[str, str]] = []
    flags: set[str] = set()
    for found in clause.all("property"):
        name, value = found.text("name"), " ".join(found.texts) or found.text("value")
        if name in _FLAGS and value.lower() not in _NO:
            flags.add(_FLAGS[name])
        elif (name, value) not in fields:
            kept.append((name, value))
    for found in clause.clauses:
        answer = " ".join(found.texts).lower()
        if found.name in _FLAGS and answer not in _NO:
            flags.add(_FLAGS[found.name])
        elif found.name in _FLAGS_BY_NO and answer in _NO:
            flags.add(_FLAGS_BY_NO[found.name])
        elif found.name == "component_classes":
            kept.extend(("component class", " ".join(item.texts)) for item in found.clauses)
        elif found.name == "datasheet" and answer not in ("", "~") and "Datasheet" not in dict(fields):
            kept.append(("datasheet", " ".join(found.texts)))
    return tuple(kept), frozenset(flags)


def _units(clause: Clause) -> Iterator[Unit]:
    for section in clause.all("units"):
        for unit in section.all("unit"):
            pins = (pin.text("num") for group in unit.all("pins") for pin in group.all("pin"))
            yield Unit(unit.text("name"), tuple(pins))


# Nets


def _nets(root: Clause, file: str, components: dict[str, Component]) -> tuple[NetlistNet, ...]:
    nets: list[NetlistNet] = []
    lines: dict[str, int] = {}
    pins = {
        reference: {pin.number: pin for pin in reversed(component.library_pins)}
        for reference, component in components.items()
    }
    for section in root.all("nets"):
        for clause in section.all("net"):
            code = net_code(clause, len(nets))
            if code in lines:
                what = (
                    f"the code {plain(code)} is given to two nets, here and in line {lines[code]}; the file is damaged"
                )
                raise Refused(Problem(file, clause.line, clause.column, what))
            lines[code] = clause.line
            nodes = tuple(_node(node, file, components, pins) for node in clause.all("node"))
            nets.append(NetlistNet(code, clause.text("name"), nodes, clause.text("class", "netclass"), clause.line))
    return tuple(nets)


def net_code(clause: Clause, position: int) -> str:
    """The code of a net; one of its own, after its position in the file, where the writer gave none."""
    return clause.text("code") or f"#{position + 1}"


def _node(clause: Clause, file: str, components: dict[str, Component], pins: dict[str, dict[str, LibraryPin]]) -> Node:
    reference, number = clause.text("ref"), clause.text("pin")
    if not reference or not number:
        missing = "reference" if not reference else "pin number"
        raise Refused(Problem(file, clause.line, clause.column, f"this node has no {missing}; the file is damaged"))
    library_pin = pins.get(reference, {}).get(number)
    name = _pin_name(clause.text("pinfunction"))
    if name and _numbered(name, number, library_pin, components.get(reference)):
        name = name[: -len(number) - 1]
    # Only this mark is the designer's; the editor names the net of any lone pin unconnected-…, forgotten ones too.
    sort, plus, mark = clause.text("pintype").partition("+")
    if library_pin is not None:
        name, sort = name or library_pin.name, sort or library_pin.type
    return Node(reference, number, name, sort, flagged_open=bool(plus) and mark == "no_connect", line=clause.line)


def _numbered(name: str, number: str, library_pin: LibraryPin | None, component: Component | None) -> bool:
    """Whether the pin's number was hung on its name, as generation 10 does: K_1 for the pin 1 that is called K."""
    if not name.endswith(f"_{number}"):
        return False
    if library_pin is not None and library_pin.name:
        return name == f"{library_pin.name}_{number}"
    return component is not None and bool(component.units)


def _oddities(nets: tuple[NetlistNet, ...], components: dict[str, Component]) -> Iterator[Oddity]:
    listed: dict[tuple[str, str], list[str]] = {}
    for net in nets:
        for node in net.nodes:
            pin = (node.reference, node.pin)
            codes = listed.setdefault(pin, [])
            if net.code in codes:
                yield Oddity("pin listed twice", *pin, (net.code,), node.line)
            elif codes:
                yield Oddity("pin on two nets", *pin, (*codes, net.code), node.line)
            if node.reference not in components and not codes:
                yield Oddity("node of a missing part", *pin, (net.code,), node.line)
            if net.code not in codes:
                codes.append(net.code)


# Notes


def _notes(root: Clause, design: Clause) -> tuple[str, ...]:
    """The title block of the root sheet, and what stands in the file and was not read."""
    notes = [note for note in (_title(design),) if note]
    unread = [(clause, "") for clause in root.clauses if clause.name not in _KNOWN_IN_EXPORT]
    for section in root.all("components"):
        for component in section.all("comp"):
            reference = component.text("ref")
            unread += [(inner, reference) for inner in component.clauses if inner.name not in _KNOWN_IN_COMPONENT]
    filled = [(clause, reference) for clause, reference in unread if clause.texts or clause.clauses]
    for clause, reference in filled[:MOST_NOTES]:
        owner = f" of {plain(reference, 40)}" if reference else ""
        notes.append(f"line {clause.line}: '({plain(clause.name, 40)} …)'{owner} was not read")
    if len(filled) > MOST_NOTES:
        notes.append(f"{len(filled) - MOST_NOTES} more clauses were not read")
    return tuple(notes)


def _title(design: Clause) -> str:
    sheet = design.first("sheet")
    block = None if sheet is None else sheet.first("title_block")
    if block is None:
        return ""
    said = [(label, block.text(name)) for label, name in (("", "title"), ("revision ", "rev"), ("", "date"))]
    words = ", ".join(label + re.sub(r"\s+", " ", text) for label, text in said if text)
    return f"title block: {plain(words)}" if words else ""
