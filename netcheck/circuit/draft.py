"""A board before its nets have roles: parts and nets in one order, who is on which net, what names say.

Parts that are not fitted are in none of it: they conduct nothing and are evidence of nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from netcheck.circuit.model import Hints, Net, Part, Pin, Shared
from netcheck.circuit.netnames import NetName, read_net_name
from netcheck.circuit.words import Words
from netcheck.ground.names import natural_key, spoken_list

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Place:
    """A pin of a fitted part on a net."""

    part: Part
    pin: Pin


@dataclass(frozen=True)
class Draft:
    """See the module. All mappings by net key, in natural order.

    Attributes:
        parts: fitted ones. on: who is on a net. says: readings of the nets' names.
        told: role and volts of nets as given from outside. shared: of those, what comes over a cable.
    """

    parts: tuple[Part, ...]
    nets: Mapping[str, Net]
    on: Mapping[str, tuple[Place, ...]]
    says: Mapping[str, NetName]
    told: Mapping[str, tuple[str, float | None]]
    words: Words
    shared: Mapping[str, Shared] = field(default_factory=dict)

    def told_by(self, net: str) -> str:
        """Where a role that is told from outside comes from, a clause."""
        return self.shared[net].origin if net in self.shared else "given in the assembly"

    def with_role(self, net: str, *roles: str) -> tuple[Place, ...]:
        """Places on a net whose pin has one of the roles."""
        return tuple(place for place in self.on[net] if place.pin.role in roles)

    def of_kind(self, net: str, kinds: Collection[str]) -> tuple[Place, ...]:
        """Places on a net whose part is of one of the kinds."""
        return tuple(place for place in self.on[net] if place.part.kind in kinds)

    def across(self, net: str, kinds: Collection[str]) -> Iterator[tuple[Place, Place]]:
        """Pairs of a place on the net and a place of the same part on another net, for parts of these kinds."""
        for near in self.of_kind(net, kinds):
            for pin in near.part.pins:
                if pin.net != net and pin.role != "not connected":
                    yield near, Place(near.part, pin)

    def label(self, net: str) -> str:
        """A net as a person calls it: its name without the path of sheets, or 'the net of Q1.2'."""
        found = self.nets[net]
        if found.name:
            return found.name.rstrip("/").rsplit("/", 1)[-1] or found.name
        return f"the {net.split('/', 1)[-1]}"


def draft_board(parts: tuple[Part, ...], nets: tuple[Net, ...], words: Words, hints: Hints) -> Draft:
    """Put parts and nets in an order that does not depend on the file's, and note who is where."""
    ordered = {net.key: net for net in sorted(nets, key=lambda net: natural_key(net.key))}
    fitted = tuple(sorted((part for part in parts if part.fitted), key=lambda part: natural_key(part.key)))
    on: dict[str, list[Place]] = {key: [] for key in ordered}
    for part in fitted:
        for pin in sorted(part.pins, key=lambda pin: natural_key(pin.key)):
            if pin.net in on:
                on[pin.net].append(Place(part, pin))
    bare = winding_ends(fitted, on)
    return Draft(
        parts=fitted,
        nets=ordered,
        on={key: tuple(places) for key, places in on.items()},
        says={key: NetName() if key in bare else read_net_name(net.name, words) for key, net in ordered.items()},
        told={key: hint for key, net in ordered.items() if (hint := _told(net, hints)) is not None},
        words=words,
        shared={key: shared for key, net in ordered.items() if (shared := _named(net, hints.shared)) is not None},
    )


def winding_ends(parts: Iterable[Part], on: Mapping[str, Sequence[Place]]) -> frozenset[str]:
    """Pairs of nets that are the two ends of one winding: nothing there but a transformer and one connector.

    Their names are borrowed symbols (a primary drawn from VCC to Earth) and say nothing. A connector that brings out
    more than two nets of the transformer has a tap, whose name may tell the ground.
    """
    found: set[str] = set()
    for part in parts:
        if part.kind != "transformer":
            continue
        plugs: dict[str, list[str]] = {}
        for net in dict.fromkeys(pin.net for pin in part.pins if pin.net in on):
            for place in on[net]:
                if place.part.kind == "connector":
                    plugs.setdefault(place.part.key, []).append(net)
        for nets in plugs.values():
            if len(nets) == 2 and all(len(on[net]) == 2 for net in nets):
                found.update(nets)
    return frozenset(found)


def _told(net: Net, hints: Hints) -> tuple[str, float | None] | None:
    return _named(net, hints.net_roles)


def _named(net: Net, given: Mapping[str, T]) -> T | None:
    """What was given for a net, by its name, its name without the leading slash, or its key on the board."""
    for name in (net.name, net.name.lstrip("/"), net.key.split("/", 1)[-1]):
        if name and name in given:
            return given[name]
    return None


def refs(places: Iterable[Place | Part], most: int = 3) -> str:
    """References of parts as a person lists them: 'U1, U2 and U3'."""
    names = dict.fromkeys(thing.part.ref if isinstance(thing, Place) else thing.ref for thing in places)
    return spoken_list(sorted(names, key=natural_key), most)


def called(part: Part) -> str:
    """A part with its type: 'U3, LM7815'."""
    kind = part.value.text or (part.record.name if part.record else "")
    return f"{part.ref}, {kind}" if kind else part.ref


def distinct(places: Iterable[Place]) -> int:
    """Number of parts among places."""
    return len({place.part.key for place in places})


def spread(start: Iterable[str], step: Callable[[str], Iterable[str]]) -> dict[str, str]:
    """All that can be got to from some nets: net -> the net that it was reached from (itself for a start).

    Breadth first; the result does not depend on the order of `start`.
    """
    came = {net: net for net in sorted(start, key=natural_key)}
    front = list(came)
    while front:
        found: dict[str, str] = {}
        for net in front:
            for other in step(net):
                if other not in came:
                    found.setdefault(other, net)
        came |= found
        front = sorted(found, key=natural_key)
    return came
