"""The contents of one netlist file, as read; no judgement, nothing left out."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class LibraryPin:
    """A pin as the library part has it: number, name and electrical type, each as written or empty."""

    number: str
    name: str = ""
    type: str = ""


@dataclass(frozen=True, slots=True)
class Unit:
    """One drawn unit of a part (an amplifier of a dual package) and the numbers of its pins."""

    name: str
    pins: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Component:
    """A part as the file lists it.

    Attributes:
        reference, value: as written; value is None when the file has no value clause.
        footprint, library, library_part, description: as written, empty when absent. `description` joins the
            component's own and its library source's where both are given and differ.
        fields: named texts of the user, in order. properties: properties that are not fields.
        flags: of 'not fitted', 'not in the bill', 'not on the board'.
        sheet: sheet path by names, '/' for the root.
        units: only where the file says which pin is in which unit.
        library_pins: pins of the library part (all of them, also of units that were never placed).
        timestamps: one per unit. line: where the component's clause begins, from 1.
    """

    reference: str
    value: str | None
    footprint: str = ""
    library: str = ""
    library_part: str = ""
    description: str = ""
    fields: tuple[tuple[str, str], ...] = ()
    properties: tuple[tuple[str, str], ...] = ()
    flags: frozenset[str] = frozenset()
    sheet: str = "/"
    units: tuple[Unit, ...] = ()
    library_pins: tuple[LibraryPin, ...] = ()
    timestamps: tuple[str, ...] = ()
    line: int = 0


@dataclass(frozen=True, slots=True)
class Node:
    """One pin of one part on a net. name and type come from the node itself, else from the library part."""

    reference: str
    pin: str
    name: str = ""
    type: str = ""
    flagged_open: bool = False
    line: int = 0


@dataclass(frozen=True, slots=True)
class NetlistNet:
    """A net: the code that tells it apart, its name as written (may be empty), its class, its nodes."""

    code: str
    name: str
    nodes: tuple[Node, ...]
    net_class: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class Oddity:
    """Something that real files contain and that is kept: it becomes a finding, not an error.

    Attributes:
        what: 'pin on two nets', 'pin listed twice' or 'node of a missing part'.
        reference, pin: the pin that is meant. nets: codes of the nets it is listed on.
        line: of the later mention.
    """

    what: str
    reference: str
    pin: str
    nets: tuple[str, ...]
    line: int = 0


@dataclass(frozen=True, slots=True)
class Netlist:
    """One file.

    Attributes:
        file: its name as the user gave it. digest: SHA-256 of its bytes, in hex.
        version, tool, date, source: of the export, as written; empty when absent.
    """

    file: str
    digest: str
    components: tuple[Component, ...]
    nets: tuple[NetlistNet, ...]
    oddities: tuple[Oddity, ...] = ()
    version: str = ""
    tool: str = ""
    date: str = ""
    source: str = ""
    notes: tuple[str, ...] = field(default=())
