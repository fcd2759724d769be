"""The places of a circuit that signals pass: each amplifier of a package, gang of a potentiometer, pole of a switch."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from netcheck.circuit.conduction import AMPLIFIERS, TRANSISTORS, TWO_ENDED, VARIABLE
from netcheck.circuit.model import Net, Part, Pin
from netcheck.circuit.walk import Walks, natural_key

# What belongs to the mechanics of a board, or is only there to be looked at.
_ASIDE = frozenset({"hole", "mechanical", "test point"})
# Kinds whose units are places by themselves; all others of more than two ends are one place, or a place a pin.
_IN_UNITS = AMPLIFIERS | {"transistor array", "transformer", "switch", "button", "relay"} | VARIABLE
_WHOLE = TRANSISTORS | {"optocoupler", "bridge", "thyristor"}
_LINKS = frozenset({"link", "jumper", "switch", "button"})
_SILENT = frozenset({"supply plus", "supply minus", "not connected", "shield", "compensation"})
_EITHER_WAY = frozenset({"capacitor", "battery"})  # their direction does not tell where they belong


@dataclass(frozen=True, slots=True)
class Place:
    """Something between nodes.

    Attributes:
        key: that of the part, with the unit behind it. ends: (role, node) of each pin that matters.
        pins: keys, in the order of `ends`.
    """

    key: str
    part: str
    kind: str
    ends: tuple[tuple[str, str], ...]
    pins: tuple[str, ...]


class PlaceMap:
    """All places of a circuit, by node; a node is a net with all that cables join it with."""

    def __init__(self, walks: Walks) -> None:
        self.walks = walks
        self._nodes: dict[str, str] = {}

    def node(self, net: str) -> str:
        """The node of a net: the first key, in natural order, of those that are joined with it."""
        found = self._nodes.get(net)
        if found is None:
            found = self._nodes[net] = self.walks.joined_by_cable(net)[0]
        return found

    def net(self, node: str) -> Net:
        """The net that a node is called after."""
        return self.walks.circuit.nets[node]

    @cached_property
    def at(self) -> dict[str, list[tuple[str, Place]]]:
        """Node -> (role, place) of all that has an end there."""
        found: dict[str, list[tuple[str, Place]]] = {}
        for part in self.walks.circuit.parts.values():
            if part.fitted and part.kind not in _ASIDE:
                for place in self._places(part):
                    for role, node in place.ends:
                        found.setdefault(node, []).append((role, place))
        for held in found.values():
            held.sort(key=lambda pair: (natural_key(pair[1].key), pair[0]))
        return found

    def _places(self, part: Part) -> Iterator[Place]:
        pins = tuple(pin for pin in part.pins if pin.role not in _SILENT)
        for unit, group in self._groups(part, pins):
            yield self._place(part, unit, group)

    def _groups(self, part: Part, pins: Sequence[Pin]) -> Iterator[tuple[str, Sequence[Pin]]]:
        two_ended = len(pins) == 2 and (part.kind in TWO_ENDED or part.kind in _LINKS)
        if two_ended or part.kind in _WHOLE or (part.kind in _IN_UNITS and _is_one(pins)):
            yield "", pins
            return
        alone = list(pins)
        if part.kind in VARIABLE:
            yield from ((str(at), group.pins) for at, group in enumerate(self.walks.groups(part), 1))
            return
        if part.kind in _IN_UNITS:
            for unit in dict.fromkeys(pin.unit for pin in pins if pin.unit):
                yield unit, [pin for pin in pins if pin.unit == unit]
            alone = [pin for pin in pins if not pin.unit]
        yield from ((pin.number, [pin]) for pin in alone)

    def _place(self, part: Part, unit: str, pins: Sequence[Pin]) -> Place:
        either_way = part.kind in _EITHER_WAY
        ends = tuple(("" if either_way else pin.role, self.node(pin.net)) for pin in pins)
        return Place(f"{part.key}:{unit}" if unit else part.key, part.key, part.kind, ends, tuple(p.key for p in pins))


def _is_one(pins: Sequence[Pin]) -> bool:
    """Whether the pins of a package without units are those of one amplifier or one track."""
    roles = [pin.role for pin in pins]
    one_each = all(roles.count(role) <= 1 for role in ("plus", "minus", "output", "wiper"))
    return not any(pin.unit for pin in pins) and one_each and bool({"output", "wiper"} & set(roles))
