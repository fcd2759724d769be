"""Reading the entries of an assembly file that describe things: chassis parts, cables, inputs and outputs."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from typing import TypeVar

from netcheck.ground.names import did_you_mean, plain
from netcheck.ground.quantities import read_part_value
from netcheck.ground.units import (
    AMPERE,
    DECIBEL,
    DECIBEL_AT_MILLIWATT,
    DECIBEL_AT_VOLT,
    FARAD,
    METRE,
    OHM,
    PLAIN,
    VOLT,
    VOLT_AMPERE,
    Quantity,
    Unit,
)
from netcheck.ground.yamltext import Items, Node, Reader, Table, Text
from netcheck.intake.assembly import Cable, ChassisPart, ChassisWire, Screen, SignalInput, SignalOutput, Spot
from netcheck.intake.chassisparts import SORT_NAMES, pins_of

T = TypeVar("T")

CHASSIS_KEYS = (
    "value", "wires", "fused", "primary", "secondaries", "power", "regulation", "volts", "amps", "poles", "throws",
    "gangs", "length", "gauge", "description",
)  # fmt: skip
# Keys that only some sorts have.
_OF_SORTS = {
    "fused": ("mains inlet",),
    "primary": ("transformer",),
    "secondaries": ("transformer",),
    "power": ("transformer",),
    "regulation": ("transformer",),
    "volts": ("adapter", "ac adapter", "battery"),
    "amps": ("adapter", "ac adapter", "battery"),
    "poles": ("switch", "button"),
    "throws": ("switch", "button"),
    "gangs": ("potentiometer",),
}
CABLE_KEYS = ("name", "keyed", "direct", "length", "gauge", "wires", "screen", "balanced", "bundled with")
MOST_NAME, MOST_POLES, MOST_WIRES = 60, 12, 500
# More than any fuse in an inlet carries and more than any winding rises without load: slips of the pen, not designs.
MOST_FUSE_AMPS, REGULATION = 32.0, (0.001, 1.0)
_SQUARE = re.compile(r"([0-9]+(?:\.[0-9]+)?) ?mm(?:2|²)")
_AWG = re.compile(r"AWG ?([0-9]{1,2})")
# American wire gauge: diameter 0.127 mm at gauge 36, a factor of 92 in 39 steps (ASTM B258, from memory).
_AWG_36, _AWG_RATIO = 0.127e-3, 92.0


class PartsReader(Reader):
    """A reader with the pieces that assembly files are made of."""

    # Pieces

    def spot(self, node: Node | None) -> Spot | None:
        """A name with its place."""
        found = self.text(node)
        if found is None or node is None:
            return None
        if not found.strip():
            self.note(node, "nothing stands here; a name is expected")
            return None
        return Spot(found.strip(), node.line, node.column)

    def number(self, node: Node | None, unit: Unit, positive: bool = False) -> float | None:
        """A quantity of a unit, in base units."""
        found = self.quantity(node, unit) if node is not None else None
        if found is not None and positive and found.value <= 0 and node is not None:
            self.note(node, f"{found} is not above zero")
            return None
        return found.value if found is not None else None

    def between(self, node: Node | None, unit: Unit, low: float, high: float) -> float | None:
        """A quantity of a unit from `low` to `high`, in base units; what lies outside is a slip and noted."""
        found = self.number(node, unit)
        if found is None or node is None or low <= found <= high:
            return found
        shown = (f"{each * 100:g} %" if unit == PLAIN else str(Quantity(each, unit)) for each in (found, low, high))
        self.note(node, "{} stands here; {} to {} are expected".format(*shown))
        return None

    def decibels(self, node: Node | None) -> float | None:
        """A ratio in decibels."""
        return self.number(node, DECIBEL, positive=True)

    def count(self, node: Node | None, most: int) -> int | None:
        """A whole number from 1."""
        if node is None:
            return None
        found = self.text(node)
        if found is None:
            return None
        if not (found.isascii() and found.isdecimal() and len(found) < 8 and 1 <= int(found) <= most):
            self.note(node, f"'{plain(found, 20)}' stands here; a whole number from 1 to {most} is expected")
            return None
        return int(found)

    def sentence(self, node: Node | None) -> str:
        """A reason that must not be empty."""
        found = (self.text(node) or "").strip()
        if isinstance(node, Text) and not found:
            self.note(node, "nothing stands here; a reason is expected")
        return found

    def different(self, found: Sequence[T], name_of: Callable[[T], str], what: str) -> tuple[T, ...]:
        """Things with names that are all different; others are noted and left out."""
        seen: dict[str, T] = {}
        for thing in found:
            name = name_of(thing)
            if name in seen:
                line, column = getattr(thing, "line", 0), getattr(thing, "column", 0)
                self.note(Text(name, line, column), f"there is a {what} called '{plain(name)}' already")
            elif name:
                seen[name] = thing
        return tuple(seen.values())

    def area(self, node: Node | None) -> float | None:
        """Copper area of a wire in square metres: 0.5 mm2 or AWG 24."""
        found = self.text(node) if node is not None else None
        if found is None or node is None:
            return None
        square, gauge = _SQUARE.fullmatch(found), _AWG.fullmatch(found)
        if square is not None and 0 < float(square[1]) <= 100:
            return float(square[1]) * 1e-6
        if gauge is not None and int(gauge[1]) <= 40:
            return area_of_gauge(int(gauge[1]))
        self.note(node, f"'{plain(found)}' is no gauge of a wire; 0.5 mm2 or AWG 24 are expected")
        return None

    # Chassis parts

    def chassis_part(self, node: Node) -> ChassisPart | None:
        """A part that is in no netlist."""
        table = self.table(node, ("part",), ("kind", *CHASSIS_KEYS))
        name, sort = self.spot(table.get("part")), self._sort(table)
        if name is not None and re.search(r"[./\\\x00-\x1f]", name.text):
            self.note(table.get("part") or node, f"the name '{plain(name.text)}' must hold no '.' and no '/'")
            return None
        if name is None or sort is None:
            return None
        for key, sorts in _OF_SORTS.items():
            if (entry := table.get(key)) is not None and sort not in sorts:
                self.note(entry, f"a {sort} has no '{key}'; that is for: {', '.join(sorts)}")
        part = ChassisPart(
            name=name.text,
            sort=sort,
            wires=self._wires(table.get("wires")),
            value=plain(self.text(table.get("value")) or ""),
            fused=self._fuse(table.get("fused")),
            primary=self._windings(table.get("primary")),
            secondaries=self._windings(table.get("secondaries")),
            power=self.number(table.get("power"), VOLT_AMPERE, positive=True),
            regulation=self.between(table.get("regulation"), PLAIN, *REGULATION),
            volts=self.number(table.get("volts"), VOLT, positive=True),
            amps=self.number(table.get("amps"), AMPERE, positive=True),
            poles=self.count(table.get("poles"), MOST_POLES) or 1,
            throws=self.count(table.get("throws"), 2) or 1,
            gangs=self.count(table.get("gangs"), 8) or 1,
            length=self.number(table.get("length"), METRE, positive=True),
            area=self.area(table.get("gauge")),
            description=plain(self.text(table.get("description")) or ""),
            line=node.line,
            column=node.column,
        )
        return self._with_known_pins(part)

    def _sort(self, table: Table) -> str | None:
        """What a part is: its `kind`, or its own name where that is one ('transformer')."""
        kind, name = table.get("kind"), table.get("part")
        if kind is not None:
            return self.word(kind, SORT_NAMES)
        if isinstance(name, Text) and name.text in SORT_NAMES:
            return name.text
        if isinstance(name, Text):
            self.note(name, f"what '{plain(name.text)}' is must be told by 'kind'{did_you_mean('', SORT_NAMES)}")
        return None

    def _fuse(self, node: Node | None) -> str:
        """The fuse of an inlet as it is written, when it names a current: T315mA, F1A, 1 A."""
        found = self.text(node)
        if found is None or node is None:
            return ""
        amps = read_part_value(found, "fuse").rated_amps
        if amps is None:
            what = "its current is expected, with its unit, such as T315mA, F1A or 1 A"
            self.note(node, f"'{plain(found, 40)}' is no rating of a fuse; {what}")
        elif amps > MOST_FUSE_AMPS:
            self.note(node, f"'{plain(found, 40)}' is more than a fuse of an inlet has ({MOST_FUSE_AMPS:g} A at most)")
        return plain(found)

    def _windings(self, node: Node | None) -> tuple[float, ...]:
        """Volts of each winding; one that cannot be read still counts, so that its pins are there to be wired."""
        found = [self.number(item, VOLT, positive=True) for item in self.items(node)[:8]]
        return tuple(volts if volts is not None else math.nan for volts in found)

    def _wires(self, node: Node | None) -> tuple[ChassisWire, ...]:
        found: list[ChassisWire] = []
        for pin, to in self.table(node).entries:
            for item in self.items(to):
                place = self.spot(item)
                if place is not None:
                    found.append(ChassisWire(Spot(pin.text, pin.line, pin.column), place))
        return tuple(found[:MOST_WIRES])

    def _with_known_pins(self, part: ChassisPart) -> ChassisPart:
        known = pins_of(part)
        for wire in part.wires:
            if wire.pin.text not in known:
                what = f"the {part.sort} '{part.name}' has no pin '{plain(wire.pin.text)}'"
                self.note(
                    Text(wire.pin.text, wire.pin.line, wire.pin.column), f"{what}{did_you_mean(wire.pin.text, known)}"
                )
        return part

    # Cables

    def cable(self, node: Node) -> Cable | None:
        """A lead, or the joint of two boards that are plugged together."""
        table = self.table(node, ("from", "to"), CABLE_KEYS)
        near, far = self.spot(table.get("from")), self.spot(table.get("to"))
        name = self.spot(table.get("name"))
        if near is None or far is None:
            return None
        keyed, direct, balanced = (
            self.yes_no(table.get(key)) if table.get(key) is not None else None
            for key in ("keyed", "direct", "balanced")
        )
        return Cable(
            name=plain(name.text if name else f"{near.text} to {far.text}", MOST_NAME),
            near=near,
            far=far,
            wires=self._map(table.get("wires")) if table.get("wires") is not None else None,
            keyed=keyed,
            direct=direct or False,
            length=self.number(table.get("length"), METRE, positive=True),
            area=self.area(table.get("gauge")),
            screen=self._screen(table.get("screen")),
            balanced=balanced or False,
            bundled=self.list_of(table.get("bundled with"), self.spot),
            line=node.line,
            column=node.column,
        )

    def _map(self, node: Node | None) -> tuple[tuple[Spot, Spot], ...]:
        found: list[tuple[Spot, Spot]] = []
        for key, value in self.table(node).entries:
            for item in self.items(value):
                there = self.spot(item)
                if there is not None:
                    found.append((Spot(key.text, key.line, key.column), there))
        return tuple(found[:MOST_WIRES])

    def _screen(self, node: Node | None) -> Screen | None:
        if node is None:
            return None
        table = self.table(node, ("ends at",), ())
        ends = table.get("ends at")
        if isinstance(ends, Items | Text):
            spots = self.list_of(ends, self.spot)
            return Screen(
                tuple(spot for spot in spots if "." not in spot.text), tuple(spot for spot in spots if "." in spot.text)
            )
        if ends is not None:
            self.note(ends, "a table stands here; names of boards or pins are expected, such as [amp, panel.J1.3]")
        return None

    # Signals

    def signal_input(self, node: Node) -> SignalInput | None:
        """Where a signal comes in."""
        table = self.table(node, ("at",), ("return", "source impedance", "largest level"))
        at = self.spot(table.get("at"))
        back = self.spot(table.get("return")) if table.get("return") is not None else None
        ohms = self.number(table.get("source impedance"), OHM, positive=True)
        volts = self.number(table.get("largest level"), VOLT, positive=True)
        return SignalInput(at, back, ohms, volts) if at is not None else None

    def signal_output(self, node: Node) -> SignalOutput | None:
        """Where a signal goes out."""
        table = self.table(node, ("at",), ("return", "loads", "sensitivity", "cable", "largest level"))
        at = self.spot(table.get("at"))
        if at is None:
            return None
        return SignalOutput(
            at=at,
            back=self.spot(table.get("return")) if table.get("return") is not None else None,
            loads=self.list_of(table.get("loads"), lambda item: self.number(item, OHM, positive=True)),
            sensitivity=self._sensitivity(table.get("sensitivity")),
            cable_farads=self.number(table.get("cable"), FARAD, positive=True),
            largest_volts=self.number(table.get("largest level"), VOLT, positive=True),
        )

    def _sensitivity(self, node: Node | None) -> Quantity | None:
        found = self.quantity(node) if node is not None else None
        if found is not None and node is not None and found.unit not in (DECIBEL_AT_MILLIWATT, DECIBEL_AT_VOLT):
            self.note(node, f"'{found}' is no sensitivity; 98 dB/mW or 110 dB/V are expected")
            return None
        return found


def area_of_gauge(gauge: int) -> float:
    """Copper area of an American wire gauge, in square metres.

    Source: ASTM B258 (from memory): the diameter is 0.127 mm at gauge 36 and grows by the 39th root of 92 a step.

    >>> f"{area_of_gauge(24) * 1e6:.3f} mm2"
    '0.205 mm2'
    """
    diameter: float = _AWG_36 * _AWG_RATIO ** ((36 - gauge) / 39)
    return math.pi * diameter**2 / 4
