"""What each pin of a part is for: roles and units, and which drawn units are missing.

Names of the symbol's pins, the part book's pin-outs by number, pin-outs that nearly all op-amps share, and, where
nothing else tells, pin numbers by convention. Where a symbol that is not the part contradicts the part book, the
number decides, since the board is made by numbers; the contradiction is told.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from netcheck.circuit.conduction import AMPLIFIERS
from netcheck.circuit.model import Amplifier, Part, Record
from netcheck.circuit.nametables import NameTables, PinNames, pin_name
from netcheck.circuit.partbook import pinout_for
from netcheck.ground.names import natural_key, plain, spoken_list
from netcheck.intake.netlist import Unit

# Kinds whose leads are named by the symbol whatever the book's package order is (that is a rule's business).
_LEADS = frozenset({"npn", "pnp", "nmos", "pmos", "njfet", "pjfet", "diode", "led", "zener", "surge diode", "bridge"})
_SUPPLIES = frozenset({"converter", "regulator", "reference"})
_TYPED = AMPLIFIERS | _SUPPLIES | {"logic", "microcontroller", "integrated circuit", "module"}
_IDLE = frozenset({"", "not connected", "compensation", "terminal", "control", "reference"})
_UNIT_OF = {"1": "A", "2": "B", "3": "C", "4": "D", "L": "A", "R": "B", "5": "E", "6": "F", "7": "G", "8": "H"}

Roles = dict[str, tuple[str, str]]


@dataclass(frozen=True, slots=True)
class RawPin:
    """A pin as the file has it; `listed` when a net names it."""

    number: str
    name: str = ""
    type: str = ""
    listed: bool = True


@dataclass(frozen=True, slots=True)
class PinReading:
    """Roles and unit letters by pin number, what the symbol contradicts, names of units that were never placed.

    misdrawn: of an amplifier, why its symbol cannot be that of its type, a clause; or ''.
    """

    roles: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    conflict: str = ""
    missing_units: tuple[str, ...] = ()
    misdrawn: str = ""


@dataclass(frozen=True, slots=True)
class Subject:
    """What is known of a part before its pins have roles."""

    kind: str
    pins: tuple[RawPin, ...]
    record: Record | None = None
    drawn_as: Record | None = None
    package: str = ""
    library_part: str = ""
    value: str = ""
    polarised: bool | None = None
    units: tuple[Unit, ...] = ()
    told: Mapping[str, str] = field(default_factory=dict)


def read_pins(subject: Subject, tables: NameTables) -> PinReading:
    """Roles, units and missing units of a part's pins."""
    named = _by_names(subject, tables)
    pinout = _pinout(subject, named, tables)
    roles, conflict = _merged(subject, named, pinout)
    numbered = _by_numbers(subject, tables, silent=all(role in _IDLE for role, _ in roles.values()))
    for pin in subject.pins:
        role, unit = roles.get(pin.number, ("", ""))
        role, unit = numbered.get(pin.number, (role, unit))
        if not role:
            role = _plain(subject, pin, tables)
        roles[pin.number] = (subject.told.get(pin.number, role), unit)
    if any(role == "wiper" for role, _ in roles.values()):
        roles = {number: (role or "end", unit) for number, (role, unit) in roles.items()}
    if subject.kind in AMPLIFIERS:
        _give_units(subject, roles)
    misdrawn = _misdrawn(subject, named, pinout)
    clauses = (misdrawn, "" if conflict and conflict in misdrawn else conflict)
    told = "; ".join(clause for clause in clauses if clause)
    return PinReading(roles, told, _missing_units(subject, roles, pinout), misdrawn)


# Names


def _by_names(subject: Subject, tables: NameTables) -> Roles:
    entries = tables.roles_by_name(subject.kind)
    found: Roles = {}
    for pin in subject.pins:
        text = pin.name if pin.name.strip("~ ") else ("" if pin.number.isdecimal() else pin.number)
        role = None if text.isdecimal() else _by_name(pin_name(text), subject.kind, entries)
        if role is not None:
            found[pin.number] = role
    if subject.kind in ("regulator", "reference"):
        _ground_or_adjust(subject, found)
    if subject.kind in AMPLIFIERS:
        _supplies_by_sign(subject, found)
    return found


def _by_name(name: str, kind: str, entries: Iterable[PinNames]) -> tuple[str, str] | None:
    """Role and unit for a pin's name: the whole name, the name without a unit's letter, what the name holds."""
    entries = tuple(entries)
    if not name and kind != "bridge":
        return None
    for entry in entries:
        if name in entry.roles:
            return entry.roles[name], ""
    for entry in entries:
        found = _unit_taken_off(name, entry.roles) if entry.units else None
        if found is not None:
            return found
    holding = (role for entry in entries for word, role in entry.holding.items() if word in name)
    return next(((role, "") for role in holding), None)


def _unit_taken_off(name: str, roles: Mapping[str, str]) -> tuple[str, str] | None:
    """Role and unit of a name that carries a unit's figure or letter: IN1+, OUTB, 2IN-, L+, EMITTER2.

    >>> roles = {"IN+": "plus", "OUT": "output", "B": "base"}
    >>> _unit_taken_off("IN2+", roles), _unit_taken_off("OUTA", roles), _unit_taken_off("1B", roles)
    (('plus', 'B'), ('output', 'A'), ('base', 'A'))
    """
    for at, letter in enumerate(name[:24]):
        rest = name[:at] + name[at + 1 :]
        if letter in "12345678ABCDLR" and rest in roles and rest:
            if letter.isalpha() and 0 < at < len(name) - 1 and name[at + 1 :] not in ("+", "-"):
                continue
            return roles[rest], _UNIT_OF.get(letter, letter)
    return None


def _ground_or_adjust(subject: Subject, found: Roles) -> None:
    """A pin called GND/ADJ is one or the other by the type: fixed or adjustable."""
    for pin in subject.pins:
        if pin_name(pin.name) in ("GNDADJ", "ADJGND"):
            fixed = subject.record is not None and subject.record.output is not None
            text = subject.value.upper()
            if fixed or (re.search(r"[-_ ]\d", text) and "ADJ" not in text):
                found[pin.number] = ("ground", "")
            elif "ADJ" in text or subject.record is not None:
                found[pin.number] = ("adjust", "")
            else:
                found.pop(pin.number, None)


def _supplies_by_sign(subject: Subject, found: Roles) -> None:
    """Beside an input called LIN- a pin called L- is the negative supply of that side."""
    inputs = {found[pin.number] for pin in subject.pins if pin.number in found and "IN" in pin_name(pin.name)}
    for pin in subject.pins:
        role, unit = found.get(pin.number, ("", ""))
        if role in ("plus", "minus") and (role, unit) in inputs and "IN" not in pin_name(pin.name):
            found[pin.number] = (f"supply {role}", "")


# Pin-outs


def _pinout(subject: Subject, named: Roles, tables: NameTables) -> Mapping[str, tuple[str, str]]:
    """The pin-out that the part has by its type, else the one that op-amps share, else an empty one."""
    numbers = [pin.number for pin in subject.pins]
    record = subject.record
    if record is not None and not record.generic and record.pinouts:
        found = pinout_for(record, subject.package, numbers)
        if found is None and not subject.package:
            found = _only_fitting(record, numbers)
        if found is not None:
            return found
        if subject.package:
            return {}
    if subject.kind == "opamp" and (record is None or not record.pinouts):
        for pins in tables.pin_outs.values():
            if set(numbers) <= set(pins) and _agrees(subject, named, pins):
                return pins
    return {}


def _only_fitting(record: Record, numbers: list[str]) -> Mapping[str, tuple[str, str]] | None:
    """Without a package: the pin-out that all packages with these numbers share."""
    fits = [dict(pins) for pins in record.pinouts.values() if set(numbers) & set(pins) and set(numbers) <= set(pins)]
    return fits[0] if fits and all(pins == fits[0] for pins in fits) else None


def _agrees(subject: Subject, named: Roles, pins: Mapping[str, tuple[str, str]]) -> bool:
    """Whether a shared pin-out is that of the symbol: every input that it has is drawn as an input."""
    if len(subject.pins) < len(pins) - 3:
        return False
    some_named = any(role in ("plus", "minus") for role, _ in named.values())
    for pin in subject.pins:
        role, wanted = named.get(pin.number, ("", ""))[0], pins[pin.number][0]
        if _at_odds(role, wanted) or (some_named and not role and wanted in ("plus", "minus")):
            return False
    return True


def _at_odds(one: str, other: str) -> bool:
    supplies = {"supply minus", "ground"}
    return one != other and one not in _IDLE and other not in _IDLE and not {one, other} <= supplies


def _merged(subject: Subject, named: Roles, pinout: Mapping[str, tuple[str, str]]) -> tuple[Roles, str]:
    """Roles by name and by pin-out in one; the names win unless the symbol is that of another type."""
    odd = [pin for pin in subject.pins if pin.number in pinout and pin.number in named]
    odd = [pin for pin in odd if _at_odds(named[pin.number][0], pinout[pin.number][0])]
    if odd and (subject.kind in _LEADS or subject.drawn_as is None):
        roles = dict(named)
        if len(odd) == 1 or subject.kind in _LEADS:
            return roles, ""
        record = subject.record.name if subject.record else ""
        return roles, f"pins {spoken_list(pin.number for pin in odd)} are called otherwise than on a {record}"
    merged: Roles = dict(named)
    for pin in subject.pins:
        if pin.number in pinout:
            role, unit = pinout[pin.number]
            merged[pin.number] = (role or named.get(pin.number, ("", ""))[0], unit)
    if not odd or subject.record is None:
        return merged, ""
    told = spoken_list(
        f"pin {pin.number}, '{plain(pin.name, 20)}' on the symbol, is {pinout[pin.number][0]}" for pin in odd
    )
    return merged, f"on a {subject.record.name} {told}"


def _misdrawn(subject: Subject, named: Roles, pinout: Mapping[str, tuple[str, str]]) -> str:
    """Why the symbol cannot be that of the type: it draws more amplifiers than that has, or puts inputs on outputs."""
    record = subject.record
    if subject.kind not in AMPLIFIERS or record is None or record.generic or not record.pinouts:
        return ""
    roles = [role for role, _ in named.values()]
    drawn = max(roles.count("plus"), roles.count("minus"))
    if not drawn and subject.drawn_as is not None:  # the file names no pins, but the symbol is that of a known type
        drawn = _outputs(subject.drawn_as.pinouts.values())
    own = _outputs([pinout, *record.pinouts.values()])
    odd = [pin for pin in subject.pins if pin.number in pinout and pin.number in named]
    odd = [pin for pin in odd if _at_odds(named[pin.number][0], pinout[pin.number][0])]
    where = spoken_list(f"pin {p.number} is {pinout[p.number][0]}, on the symbol {named[p.number][0]}" for p in odd)
    if drawn > own > 0:
        pins = f" ({where})" if odd else ""
        return f"one {record.name} has {_amplifiers(own)}, its symbol has the pins of {drawn}{pins}"
    return f"on a {record.name} {where}" if len(odd) > 1 else ""


def _outputs(pinouts: Iterable[Mapping[str, tuple[str, str]]]) -> int:
    return max((sum(role == "output" for role, _ in pins.values()) for pins in pinouts), default=0)


def _amplifiers(count: int) -> str:
    return f"{count} amplifier{'s' if count != 1 else ''}"


# Numbers and the rest


def _by_numbers(subject: Subject, tables: NameTables, silent: bool) -> Roles:
    """Roles by number: of a known library part always, by mere count of pins only when the names are silent."""
    count = len(subject.pins)
    for entry in tables.pin_numbers:
        if subject.kind not in entry.kinds or entry.count not in (0, count):
            continue
        names = (subject.library_part, subject.value)
        if any(entry.patterns.fit(name) for name in names) if entry.patterns else silent:
            return {pin.number: entry.roles[pin.number] for pin in subject.pins if pin.number in entry.roles}
    return {}


def _plain(subject: Subject, pin: RawPin, tables: NameTables) -> str:
    if subject.kind == "capacitor" and subject.polarised and pin.number in ("1", "2"):
        return "plus" if pin.number == "1" else "minus"
    sort = pin.type.lower()
    if sort in ("no_connect", "notconnected", "nc"):
        return "not connected"
    if subject.kind in _TYPED:
        if sort in ("output", "power_out"):
            return "output"
        if subject.kind == "comparator" and sort in ("opencol", "open_collector"):
            return "output"
        if sort == "input" and subject.kind not in AMPLIFIERS | _SUPPLIES:
            return "input"
    if subject.kind in tables.named_terminals and pin.name.strip("~ "):
        return "terminal"
    return tables.plain_pins.get(subject.kind, "")


# Units


def _give_units(subject: Subject, roles: Roles) -> None:
    """Unit letters for pins that have none: by the units of the file, else all of a single amplifier."""
    for number, letter in _units_of_file(subject, roles).items():
        role, unit = roles[number]
        if not unit:
            roles[number] = (role, letter)
    per_unit = ("plus", "minus", "output", "input")
    bare = [number for number, (role, unit) in roles.items() if role in per_unit and not unit]
    counts = [sum(roles[number][0] == role for number in bare) for role in ("plus", "minus", "input")]
    if bare and max(counts) == 1 and not any(unit for _, unit in roles.values()):
        for number in bare:
            roles[number] = (roles[number][0], "A")


def _units_of_file(subject: Subject, roles: Roles) -> dict[str, str]:
    found = {}
    for unit in subject.units:
        pins = [number for number in unit.pins if number in roles]
        if {roles[number][0] for number in pins} & {"plus", "minus", "output", "input"}:
            found.update({number: unit.name for number in pins if not roles[number][0].startswith("supply")})
    return found


def _missing_units(subject: Subject, roles: Roles, pinout: Mapping[str, tuple[str, str]]) -> tuple[str, ...]:
    listed = {pin.number for pin in subject.pins if pin.listed}
    if not listed:
        return ()
    groups: dict[str, list[str]] = {}
    known = {number: roles[number] for number in roles} | {n: each for n, each in pinout.items() if n not in roles}
    for number, (role, unit) in known.items():
        if unit:
            groups.setdefault(unit, []).append(number)
        elif role.startswith("supply") and subject.kind in AMPLIFIERS:
            groups.setdefault("power", []).append(number)
    for drawn in subject.units:
        if not any(set(drawn.pins) & set(numbers) for numbers in groups.values()):
            groups[drawn.name] = list(drawn.pins)
    missing = [unit for unit, numbers in groups.items() if numbers and not listed & set(numbers)]
    return tuple(sorted(missing, key=natural_key))


# Amplifiers


def amplifiers_of(part: Part) -> tuple[Amplifier, ...]:
    """The amplifiers of a package; a unit that was never placed has no pins and is named as missing.

    A package of which no pin of an amplifier is known gives none: a blind spot, not an absence.
    """
    if part.kind not in AMPLIFIERS:
        return ()
    units = {pin.unit for pin in part.pins if pin.unit} | {unit for unit in part.missing_units if len(unit) == 1}
    return tuple(_amplifier(part, unit) for unit in sorted(units))


def _amplifier(part: Part, unit: str) -> Amplifier:
    placed = unit not in part.missing_units
    roles = {"plus": ("input", "plus"), "output": ("output",)} if _unit_kind(part, unit) == "buffer" else {}
    own = {role: _pin(part, roles.get(role, (role,)), unit) if placed else None for role in ("output", "plus", "minus")}
    supply_plus = _pin(part, ("supply plus",), None)
    supply_minus = _pin(part, ("supply minus",), None) or _pin(part, ("ground",), None)
    wanted = {**own, "supply plus": supply_plus, "supply minus": supply_minus}
    kind = _unit_kind(part, unit)
    missing = tuple(
        role
        for role, key in wanted.items()
        if key is None and (kind, role) != ("buffer", "minus") and (not placed or not _may_be_elsewhere(part, role))
    )
    return Amplifier(
        key=f"{part.key}:{unit}",
        part=part.key,
        board=part.board,
        unit=unit,
        kind=kind,
        output=own["output"],
        plus=own["plus"],
        minus=own["minus"],
        supply_plus=supply_plus,
        supply_minus=supply_minus,
        missing=missing,
    )


def _unit_kind(part: Part, unit: str) -> str:
    """The kind of one unit: a package of transconductance amplifiers may hold buffers too."""
    own = {pin.role for pin in part.pins if pin.unit == unit}
    return "buffer" if "input" in own and not own & {"plus", "minus"} else part.kind


def _may_be_elsewhere(part: Part, role: str) -> bool:
    """Whether a pin that was not found may be one of those whose role or unit is not known."""
    return any(not pin.role or (pin.role == role and not pin.unit and "supply" not in role) for pin in part.pins)


def _pin(part: Part, roles: Iterable[str], unit: str | None) -> str | None:
    """The first pin with one of the roles; a supply pin only where the file places it."""
    for role in roles:
        for pin in part.pins:
            if pin.role == role and (unit is None or pin.unit == unit) and (unit is not None or pin.listed):
                return pin.key
    return None
