"""Finding the thing that an assembly file means: a part, a pin, a net of a board, a chassis part, a point."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from netcheck.ground.names import did_you_mean, natural_key, plain
from netcheck.intake.assembly import CHASSIS, AssemblyFile, Spot
from netcheck.intake.chassisparts import pins_of
from netcheck.intake.netlist import Netlist


@dataclass(frozen=True, slots=True)
class Place:
    """What a name stands for: the board (or 'chassis'), the reference, the pin's number ('' for the whole part).

    A point of the chassis has no reference; its name stands as the pin.
    """

    board: str
    reference: str
    pin: str = ""

    @property
    def key(self) -> str:
        """The key of the part or pin in the circuit."""
        whole = f"{self.board}/{self.reference}"
        return f"{whole}.{self.pin}" if self.pin else whole

    @property
    def is_point(self) -> bool:
        """Whether this is a point of the chassis that is no part."""
        return not self.reference


@dataclass(frozen=True, slots=True)
class _Pins:
    """Pins of a part: names by number, and the net that each is on (its code)."""

    names: Mapping[str, str]
    nets: Mapping[str, str]


class Missing(ValueError):
    """A name that stands for nothing; the text says what is wrong and what would be right."""


class Places:
    """Finds what names in an assembly file stand for.

    Args:
        netlists: by name of board, each already cut to what belongs to it.
    """

    def __init__(self, assembly: AssemblyFile, netlists: Mapping[str, Netlist]) -> None:
        self.boards = {name: _pins_of(netlist) for name, netlist in netlists.items()}
        self.named = frozenset(entry.name for entry in assembly.boards)
        self.chassis = {part.name: pins_of(part) for part in assembly.chassis}
        self.points = assembly.points
        self.netlists = netlists

    def board(self, spot: Spot) -> str:
        """The name of a board. Raises: Missing."""
        if spot.text not in self.named:
            raise Missing(f"there is no board '{plain(spot.text)}'{did_you_mean(spot.text, self.named)}")
        return spot.text

    def part(self, spot: Spot) -> Place:
        """A part: 'amp.R12', or a chassis part by its name. Raises: Missing."""
        place = self._find(spot.text, pin_wanted=False)
        if place.pin:
            raise Missing(f"'{plain(spot.text)}' is a pin; a part is expected, such as {place.board}.{place.reference}")
        return place

    def pin(self, spot: Spot) -> Place:
        """A pin: 'amp.J1.3', 'switch.1'. Raises: Missing."""
        place = self._find(spot.text, pin_wanted=True)
        if not place.pin:
            raise Missing(f"'{plain(spot.text)}' is a whole part; a pin is expected, such as {plain(spot.text)}.1")
        return place

    def part_or_pin(self, spot: Spot) -> Place:
        """Either. Raises: Missing."""
        return self._find(spot.text, pin_wanted=None)

    def pin_of(self, place: Place, spot: Spot) -> Place:
        """A pin of a part that is known already, by number or name. Raises: Missing."""
        return Place(place.board, place.reference, self._number(place.board, place.reference, spot.text))

    def numbers(self, place: Place) -> tuple[str, ...]:
        """Numbers of all pins of a part, natural order."""
        if place.board == CHASSIS:
            return self.chassis[place.reference]
        known = self.boards.get(place.board, {}).get(place.reference)
        return tuple(sorted(known.names, key=natural_key)) if known is not None else ()

    def has_net(self, place: Place) -> bool:
        """Whether a net lists the pin, or any pin of the part. What is in no netlist that was read counts as listed."""
        known = self.boards.get(place.board, {}).get(place.reference)
        return known is None or (place.pin in known.nets if place.pin else bool(known.nets))

    def net(self, board: str, name: str) -> str:
        """The name of a net as hints have it. Raises: Missing."""
        netlist = self.netlists.get(board)
        if netlist is None:
            return name
        known = {net.name.removeprefix("/") for net in netlist.nets if net.name}
        wanted = name.removeprefix("/")
        if wanted in known:
            return wanted
        last = [full for full in known if full.rsplit("/", 1)[-1] == wanted]
        if len(last) == 1:
            return last[0]
        if len(last) > 1:
            raise Missing(f"{board} has several nets '{plain(name)}': {', '.join(sorted(map(plain, last))[:4])}")
        raise Missing(f"{board} has no net '{plain(name)}'{did_you_mean(wanted, known)}")

    def _find(self, text: str, pin_wanted: bool | None) -> Place:
        first, dot, rest = text.partition(".")
        if first == CHASSIS and dot:
            text = rest
            first, dot, rest = text.partition(".")
        if first in self.named:
            return self._on_board(first, rest, text, pin_wanted)
        if text in self.points:
            return Place(CHASSIS, "", text)
        if first in self.chassis:
            if not rest:
                return Place(CHASSIS, first)
            return Place(CHASSIS, first, self._number(CHASSIS, first, rest))
        known = (*self.named, *self.chassis, *self.points)
        raise Missing(f"'{plain(text)}' begins with no board, chassis part or point{did_you_mean(first, known)}")

    def _on_board(self, board: str, rest: str, text: str, pin_wanted: bool | None) -> Place:
        parts = self.boards.get(board)
        if not rest:
            raise Missing(f"'{plain(text)}' is a board; a part of it is expected, such as {board}.J1")
        if parts is None:  # its netlist could not be read, which is told elsewhere
            reference, _, pin = rest.partition(".")
            return Place(board, reference, pin or ("?" if pin_wanted else ""))
        if rest in parts:
            return Place(board, rest)
        reference, dot, pin = rest.rpartition(".")
        if dot and reference in parts:
            return Place(board, reference, self._number(board, reference, pin))
        wanted = reference or rest
        on_net = self._pins_on(board, rest)
        if on_net:
            raise Missing(f"'{plain(text)}' is a net; one of its pins is expected: {', '.join(on_net)}")
        raise Missing(f"{board} has no part '{plain(wanted)}'{_near_reference(wanted, parts)}")

    def _pins_on(self, board: str, name: str, most: int = 6) -> list[str]:
        """Pins on the net of a name, as the file would name them, those of connectors (J, P, X …) first."""
        netlist = self.netlists.get(board)
        nets = netlist.nets if netlist is not None else ()
        nodes = [node for net in nets if net.name and net.name.removeprefix("/") == name for node in net.nodes]
        nodes.sort(key=lambda node: (node.reference[:1] not in "JPX", natural_key(f"{node.reference}.{node.pin}")))
        return [plain(f"{board}.{node.reference}.{node.pin}", 40) for node in nodes[:most]]

    def _number(self, board: str, reference: str, pin: str) -> str:
        """The number of a pin that is given by number or by name."""
        if board == CHASSIS:
            known = self.chassis.get(reference, ())
            if pin in known:
                return pin
            raise Missing(f"{reference} has no pin '{plain(pin)}'{did_you_mean(pin, known)}")
        found = self.boards.get(board, {}).get(reference)
        if found is None or pin in found.names:
            return pin
        named = [number for number, name in found.names.items() if name and name.lower() == pin.lower()]
        if len({found.nets.get(number) for number in named}) == 1:
            return min(named, key=natural_key)
        if named:
            numbers = ", ".join(sorted(named, key=natural_key)[:6])
            raise Missing(f"several pins of {board}.{reference} are called '{plain(pin)}'; say which: {numbers}")
        choices = [*found.names, *(name for name in found.names.values() if name)]
        raise Missing(f"{board}.{reference} has no pin '{plain(pin)}'{did_you_mean(pin, choices)}")


def _near_reference(wanted: str, parts: Collection[str]) -> str:
    """The nearest reference; of many of one letter that says little, so their number is told instead."""
    said = did_you_mean(wanted, parts)
    if said:
        return said
    letters = wanted.rstrip("0123456789")
    alike = sorted((part for part in parts if part.rstrip("0123456789") == letters), key=natural_key)
    return f"; there are {alike[0]} to {alike[-1]}" if len(alike) > 1 else ""


def _pins_of(netlist: Netlist) -> dict[str, _Pins]:
    names: dict[str, dict[str, str]] = {component.reference: {} for component in netlist.components}
    nets: dict[str, dict[str, str]] = {component.reference: {} for component in netlist.components}
    for component in netlist.components:
        for pin in component.library_pins:
            names[component.reference].setdefault(pin.number, pin.name)
        for unit in component.units:
            for number in unit.pins:
                names[component.reference].setdefault(number, "")
    for net in netlist.nets:
        for node in net.nodes:
            known = names.setdefault(node.reference, {})
            known[node.pin] = known.get(node.pin) or node.name
            nets.setdefault(node.reference, {}).setdefault(node.pin, net.code)
    return {reference: _Pins(pins, nets.get(reference, {})) for reference, pins in names.items()}
