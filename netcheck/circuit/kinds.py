"""What a part is: its kind, on what evidence, and what evidence speaks against it.

In this order: what is told from outside, a field `Kind`, the value and the maker's type number in the part book, the
library part, the pins, the description, the library, and last the letters of the reference with the footprint. A
symbol is not the part: an MC7915 drawn with the symbol of a positive regulator is a negative one.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from netcheck.circuit.model import KINDS, Hints, Record
from netcheck.circuit.nametables import NameTables, first, pin_name
from netcheck.circuit.partbook import PartBook
from netcheck.ground.names import plain
from netcheck.intake.netlist import Component

_RESCUE = re.compile(r"-RESCUE-.*|-[^-]*-rescue$", re.DOTALL)
_LETTERS = re.compile(r"[A-Za-z]{1,6}")
_TYPE = re.compile(r"(?:[A-Z]{1,4}|[12](?:N|S[A-Z]))[0-9]{3,5}[A-Z]{0,3}")  # BC999, 2N3904, LM317T
_FIGURES = re.compile(r"\d{3,}")
_WORDS = re.compile(r"[\s,;(/]+")


@dataclass(frozen=True, slots=True)
class KindReading:
    """A kind and its evidence.

    Attributes:
        because, conflict: clauses; conflict '' when nothing speaks against it.
        record: of the part book, for the type that the part is; None when not known.
        two_types: value and maker's type number name two types, a clause; or ''.
        drawn_as: the record that the symbol stands for where the value is another type; else None.
    """

    kind: str
    because: str
    conflict: str = ""
    record: Record | None = None
    drawn_as: Record | None = None
    two_types: str = ""


def library_part(component: Component) -> str:
    """The name of the library part without what a rescue of old libraries hung on it.

    >>> library_part(Component("R1", "1k", library_part="R-RESCUE-output-xform"))
    'R'
    >>> library_part(Component("J1", None, library_part="CONN_01X05-Hifi-rescue"))
    'CONN_01X05'
    """
    return _RESCUE.sub("", component.library_part)


def reference_letters(reference: str) -> str:
    """The letters that a reference begins with, upper case.

    >>> reference_letters("R-IN1"), reference_letters("IC12"), reference_letters("+VIN1")
    ('R', 'IC', '')
    """
    match = _LETTERS.match(reference)
    return match[0].upper() if match else ""


def read_kind(
    component: Component, pins: Mapping[str, str], book: PartBook, tables: NameTables, hints: Hints
) -> KindReading:
    """The kind of a part.

    Args:
        pins: names of its pins by number, '' where they have none.
    """
    told = _told(component, hints)
    value, symbol = _by_value(component, book, tables), _by_symbol(component, book, tables)
    if told:
        record = next((found.record for found in (value, symbol) if found.record and found.kind == told.kind), None)
        return KindReading(told.kind, told.because, record=record)
    if value.kind and not (symbol.kind in tables.symbol_decides and value.kind != symbol.kind):
        found = _by_value_or_symbol(value, symbol, component, tables)
    elif symbol.kind:
        found = _refined(symbol, component, tables)
    else:
        found = _by_the_rest(component, pins, tables)
    against = _against_reference(component, found.kind, tables)
    two = _two_types(component, book, tables)
    conflict = "; ".join(clause for clause in (found.conflict, two, against) if clause)
    return KindReading(found.kind, found.because, conflict, found.record, found.drawn_as, two)


def _told(component: Component, hints: Hints) -> KindReading | None:
    if component.reference in hints.kinds:
        return KindReading(hints.kinds[component.reference], "it is given from outside the netlist")
    for name, text in component.fields:
        if name.strip().lower() == "kind" and text.strip().lower() in KINDS:
            return KindReading(text.strip().lower(), "its field 'Kind' says so")
    return None


def type_names(component: Component, tables: NameTables) -> tuple[str, ...]:
    """Texts that may hold the maker's type number, in order of trust: the value, then fields."""
    return tuple(
        text for text in (component.value or "", *types_in_fields(component.fields, tables)) if text.strip("~ ")
    )


def types_in_fields(fields: Iterable[tuple[str, str]], tables: NameTables) -> tuple[str, ...]:
    """What the fields for the maker's type number say, in the order of the file, empty ones left out."""
    found = (text.strip() for name, text in fields if name.strip().upper() in tables.type_fields)
    return tuple(text for text in found if text.strip("~ "))


def _by_value(component: Component, book: PartBook, tables: NameTables) -> KindReading:
    names = type_names(component, tables)
    record = _record(names, book, tables)
    if record is not None:
        return KindReading(record.kind, f"its type {record.name} is in the part book", record=record)
    for name in names:
        word = _WORDS.split(name.strip(), maxsplit=1)[0]
        kind = first(tables.values, name) or (first(tables.type_numbers, word) if _is_type(word) else "")
        if kind:
            return KindReading(kind, f"its type '{plain(name, 40)}' is of that kind")
    return KindReading("", "")


def _record(names: tuple[str, ...], book: PartBook, tables: NameTables) -> Record | None:
    """The record of a type; a BC847BS is two transistors, not a BC847 with a suffix."""
    record = book.find(names)
    if record is None or any(first(tables.type_numbers, name) == "transistor array" for name in names):
        return record if record is not None and record.kind == "transistor array" else None
    return record


def _two_types(component: Component, book: PartBook, tables: NameTables) -> str:
    """Value and maker's type number where they name two types: BC999 and BD139-10. Spellings of one are no two.

    One type is known by one record, one name inside the other, or the figures of both: 1N4148 and LL4148.
    """
    own = _WORDS.split((component.value or "").strip(), maxsplit=1)[0]
    if not (_TYPE.fullmatch(own.upper()) or _names_a_type(own, book, tables)):
        return ""
    other = next((t for t in types_in_fields(component.fields, tables) if _names_a_type(t, book, tables)), "")
    one, two = (re.sub(r"[^A-Z0-9]", "", text.upper()) for text in (own, other))
    if not two or one in two or two in one or set(_FIGURES.findall(own)) & set(_FIGURES.findall(other)):
        return ""
    records = [book.find((text,)) for text in (own, other)]
    if records[0] is not None and records[1] is not None and records[0].name == records[1].name:
        return ""
    return f"its value is {plain(own, 40)}, its maker's type number {plain(other, 40)}"


def _names_a_type(text: str, book: PartBook, tables: NameTables) -> bool:
    """Whether a text is a type that the part book or the tables of type numbers know the sort of."""
    word = _WORDS.split(text.strip(), maxsplit=1)[0]
    return _is_type(word) and (bool(first(tables.type_numbers, word)) or book.find((word,)) is not None)


def _is_type(word: str) -> bool:
    """Whether a word can be a type number: letters and at least two figures, or a bare 4000 or 7800 number."""
    figures = sum(letter.isdigit() for letter in word)
    return len(word) >= 4 and figures >= 2


def _by_symbol(component: Component, book: PartBook, tables: NameTables) -> KindReading:
    name = library_part(component)
    because = f"its library part is '{plain(name, 40)}'"
    record = _record((name,), book, tables)
    named = first(tables.library_parts, name)
    if record is not None and not (named and not tables.near(named, record.kind)):
        return KindReading(record.kind, because, record=record)
    return KindReading(named or first(tables.type_numbers, name), because)


def _by_value_or_symbol(
    value: KindReading, symbol: KindReading, component: Component, tables: NameTables
) -> KindReading:
    """The value wins for what the part is; a symbol of another sort is told."""
    if value.record is None and symbol.kind:
        return _value_without_record(value, symbol, component, tables)
    name = plain(library_part(component), 40)
    record, drawn = value.record, symbol.record
    differs = drawn is not None and record is not None and drawn.name != record.name
    conflict = ""
    if symbol.kind and not tables.near(symbol.kind, value.kind):
        conflict = f"its value says {value.kind}, its symbol '{name}' {symbol.kind}"
    elif drawn and record and drawn.polarity and record.polarity and drawn.polarity != record.polarity:
        conflict = f"its value {record.name} is {record.polarity}, its symbol '{name}' {drawn.polarity}"
    return KindReading(value.kind, value.because, conflict, record, drawn if differs else None)


def _value_without_record(
    value: KindReading, symbol: KindReading, component: Component, tables: NameTables
) -> KindReading:
    """A value that only looks like a type: it may narrow what the symbol says, and is told when it contradicts."""
    if value.kind == symbol.kind:
        return KindReading(symbol.kind, symbol.because, drawn_as=symbol.record)
    if (symbol.kind, value.kind) == ("inductor", "ferrite"):
        return KindReading("ferrite", f"its value '{plain(component.value or '', 40)}' is that of a bead")
    if tables.near(value.kind, symbol.kind):
        return _refined(symbol, component, tables)
    transistors = {"npn", "pnp", "nmos", "pmos", "njfet", "pjfet", "transistor array"}
    if symbol.kind in tables.plain_pins:
        return _refined(symbol, component, tables)
    conflict = f"{value.because} ({value.kind}), its symbol is that of {symbol.kind}"
    if value.kind in transistors and symbol.kind in transistors:
        return KindReading(value.kind, value.because, conflict)
    return KindReading(symbol.kind, symbol.because, conflict)


def _refined(symbol: KindReading, component: Component, tables: NameTables) -> KindReading:
    """A symbol's kind, narrowed by the footprint: a control that is a trimmer, a diode in an LED's package."""
    own = _same_type(component)
    record, drawn = (symbol.record, None) if own else (None, symbol.record)
    by_footprint = first(tables.footprints, component.footprint)
    if (symbol.kind, by_footprint) in (("potentiometer", "trimmer"), ("diode", "led"), ("diode", "bridge")):
        because = f"{symbol.because} and its footprint is that of a {by_footprint}"
        return KindReading(by_footprint, because, record=record, drawn_as=drawn)
    return KindReading(symbol.kind, symbol.because, record=record, drawn_as=drawn)


def _same_type(component: Component) -> bool:
    """Whether the value names no other type than the library part: it is empty, a word, or the same name."""
    value = re.sub(r"[^A-Z0-9]", "", (component.value or "").upper())
    part = re.sub(r"[^A-Z0-9]", "", library_part(component).upper())
    return not _is_type(value) or value in part or part in value


def _by_the_rest(component: Component, pins: Mapping[str, str], tables: NameTables) -> KindReading:
    """By pins, description, library, and last the reference with the footprint."""
    library = first(tables.libraries, component.library)
    if library in tables.symbol_decides:
        return KindReading(library, f"its library is '{plain(component.library, 40)}'")
    names = frozenset(pin_name(name or number) for number, name in pins.items())
    kind = first(tables.descriptions, component.description.lower())
    for entry in tables.pin_sets:
        if (entry.exactly and names == entry.names) or (not entry.exactly and entry.names <= names):
            shown = ", ".join(sorted(entry.names))
            return KindReading(kind if tables.near(kind, entry.kind) else entry.kind, f"its pins are {shown}")
    if kind:
        return KindReading(kind, f"its description is '{plain(component.description, 60)}'")
    if library:
        return KindReading(library, f"its library is '{plain(component.library, 40)}'")
    return _by_reference(component, len(pins), tables, _transistor_by_pins(names))


def _transistor_by_pins(names: Iterable[str]) -> str:
    """Why a transistor stays unknown: its pins tell what it is, but not of which polarity."""
    found = set(names)
    if {"B", "C", "E"} <= found:
        return "a bipolar transistor by its pins; whether NPN or PNP is not known"
    if {"D", "G", "S"} <= found:
        return "a field-effect transistor by its pins; of which channel is not known"
    return ""


def _by_reference(component: Component, pins: int, tables: NameTables, unsure: str) -> KindReading:
    letters = reference_letters(component.reference)
    meant = tables.letters.get(letters)
    by_footprint = first(tables.footprints, component.footprint)
    footprint = f"its footprint is '{plain(component.footprint, 60)}'"
    if meant is not None:
        fits = by_footprint in meant.kinds or any(tables.near(by_footprint, kind) for kind in meant.kinds)
        if by_footprint and fits and by_footprint != "integrated circuit":
            return KindReading(by_footprint, f"{footprint} and its reference begins with {letters}")
        two_ended = meant.usually not in tables.plain_pins or tables.plain_pins[meant.usually] != "end" or pins <= 2
        if meant.usually and two_ended:
            return KindReading(meant.usually, f"its reference begins with {letters}, which is all there is to go by")
    if unsure:
        return KindReading("unknown", unsure)
    if by_footprint and by_footprint != "integrated circuit":
        return KindReading(by_footprint, footprint)
    if meant is not None:
        choice = " or ".join(meant.kinds[:4])
        return KindReading("unknown", f"its reference begins with {letters}, which may be {choice}; nothing else tells")
    if by_footprint:
        return KindReading(by_footprint, footprint)
    return KindReading("unknown", "neither value, library part, pins, description nor reference tell")


def _against_reference(component: Component, kind: str, tables: NameTables) -> str:
    letters = reference_letters(component.reference)
    meant = tables.letters.get(letters)
    if meant is None or kind == "unknown" or kind in tables.any_letters:
        return ""
    if kind in meant.kinds or (meant.usually and tables.near(kind, meant.usually)):
        return ""
    usual = meant.usually or " or ".join(meant.kinds[:2])
    return f"its reference begins with {letters}, which means {usual}, but it is taken for {kind}"
