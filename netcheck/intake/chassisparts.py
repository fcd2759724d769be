"""Sorts of parts that sit in the case and in no netlist: what each is, and what its pins are called.

A sort that is not listed here is a kind of part of its own (resistor, capacitor, led, …) with two pins, 1 and 2.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from netcheck.intake.assembly import ChassisPart


@dataclass(frozen=True, slots=True)
class Sort:
    """A sort of chassis part.

    Attributes:
        kind: of part, as in netlists. pins: names; empty when they are counted, by `pins_of`. roles: by pin name.
        family: of a connector. outside: what hangs on it is outside the box. mains: it is joined to the mains.
    """

    kind: str
    pins: tuple[str, ...] = ()
    roles: Mapping[str, str] = field(default_factory=dict)
    family: str = ""
    outside: bool = False
    mains: bool = False


_JACK = {"T": "tip", "R": "ring", "S": "sleeve", "TN": "switch contact", "RN": "switch contact", "SN": "switch contact"}

SORTS: Mapping[str, Sort] = MappingProxyType(
    {
        "mains inlet": Sort("inlet", ("L", "N", "PE"), {"PE": "ground"}, mains=True),
        "adapter": Sort("battery", ("plus", "minus"), {"plus": "plus", "minus": "minus"}),
        "ac adapter": Sort("source", ("A", "B"), {"A": "alternating", "B": "alternating"}),
        "battery": Sort("battery", ("plus", "minus"), {"plus": "plus", "minus": "minus"}),
        "switch": Sort("switch"),
        "button": Sort("button"),
        "fuse": Sort("fuse", ("1", "2")),
        "transformer": Sort("transformer"),
        "potentiometer": Sort("potentiometer"),
        "bridge": Sort(
            "bridge",
            ("plus", "minus", "AC1", "AC2"),
            {"plus": "plus", "minus": "minus", "AC1": "alternating", "AC2": "alternating"},
        ),
        "jack": Sort("connector", ("T", "R", "S", "TN", "RN", "SN"), _JACK, "jack", outside=True),
        "rca": Sort("connector", ("T", "S"), {"T": "tip", "S": "sleeve"}, "rca", outside=True),
        "xlr": Sort("connector", ("1", "2", "3", "G"), {"G": "shield"}, "xlr", outside=True),
        "barrel": Sort("connector", ("T", "S", "TN"), {"T": "tip", "S": "sleeve"}, "barrel", outside=True),
        "binding post": Sort("connector", ("1", "2"), {}, "banana", outside=True),
        "terminal": Sort("connector", (), {}, "screw terminal"),
        "led": Sort("led", ("A", "K"), {"A": "anode", "K": "cathode"}),
        "diode": Sort("diode", ("A", "K"), {"A": "anode", "K": "cathode"}),
    }
)
# Kinds of two-ended parts that may be written as they are.
PLAIN = (
    "resistor",
    "capacitor",
    "inductor",
    "ferrite",
    "thermistor",
    "varistor",
    "link",
    "lamp",
    "loudspeaker",
    "microphone",
    "motor",
)
SORT_NAMES = tuple(sorted((*SORTS, *PLAIN)))
_MOST_PINS = 64


def sort_of(part: ChassisPart) -> Sort:
    """The sort of a part; a plain one has pins 1 and 2."""
    return SORTS.get(part.sort) or Sort(part.sort, ("1", "2"))


def pins_of(part: ChassisPart) -> tuple[str, ...]:
    """Names of the pins that a chassis part has.

    A switch has, for each pole, 1 and 2, or with two throws 1, 2 and 3 with the common contact in the middle; then
    the next pole counts on. A potentiometer has 1, 2 (wiper) and 3, the next gang 4, 5 and 6. A transformer has P1 and
    P2, with two primaries P3 and P4 too, and S1, S2 for its first secondary, S3, S4 for the next.

    >>> pins_of(ChassisPart("switch", "switch", poles=2))
    ('1', '2', '3', '4')
    >>> pins_of(ChassisPart("transformer", "transformer", primary=(230.0,), secondaries=(15.0, 15.0)))
    ('P1', 'P2', 'S1', 'S2', 'S3', 'S4')
    """
    sort = sort_of(part)
    if sort.kind in ("switch", "button"):
        return _numbers(part.poles * (1 + part.throws))
    if sort.kind == "potentiometer":
        return _numbers(3 * part.gangs)
    if sort.kind == "transformer":
        primaries = (f"P{n}" for n in range(1, 2 * max(1, len(part.primary)) + 1))
        return (*primaries, *(f"S{n}" for n in range(1, 2 * max(1, len(part.secondaries)) + 1)))
    if part.sort == "terminal":
        return tuple(dict.fromkeys(wire.pin.text for wire in part.wires))[:_MOST_PINS] or ("1",)
    return sort.pins


def roles_of(part: ChassisPart) -> dict[str, str]:
    """Roles of pins by name, '' left out."""
    sort = sort_of(part)
    if sort.kind == "potentiometer":
        return {pin: "wiper" if int(pin) % 3 == 2 else "end" for pin in pins_of(part)}
    if sort.kind in ("switch", "button"):
        return dict.fromkeys(pins_of(part), "contact")
    if sort.kind == "transformer":
        return dict.fromkeys(pins_of(part), "winding")
    return dict(sort.roles)


def units_of(part: ChassisPart) -> dict[str, str]:
    """Which pole, gang or winding each pin belongs to, by pin name; empty for parts of one piece.

    >>> units_of(ChassisPart("volume", "potentiometer", gangs=2))
    {'1': 'A', '2': 'A', '3': 'A', '4': 'B', '5': 'B', '6': 'B'}
    """
    kind = sort_of(part).kind
    size = {"switch": 1 + part.throws, "button": 1 + part.throws, "potentiometer": 3, "transformer": 2}.get(kind)
    if size is None:
        return {}
    if kind == "transformer":
        return {pin: f"{pin[0]}{(int(pin[1:]) + 1) // 2}" for pin in pins_of(part)}
    return {pin: chr(ord("A") + at // size) for at, pin in enumerate(pins_of(part))}


def _numbers(count: int) -> tuple[str, ...]:
    return tuple(str(number) for number in range(1, min(count, _MOST_PINS) + 1))
