"""What an output feeds: the loads that are told, and the sockets that it leads to."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

from netcheck.circuit.conduction import LINKS, SWITCHED
from netcheck.circuit.model import Part, Pin
from netcheck.circuit.walk import STOPS, Walks, natural_key
from netcheck.ground.units import Quantity

_FREE = LINKS | SWITCHED | {"capacitor", "inductor"}


@dataclass(frozen=True, slots=True)
class ToldLoad:
    """An output as an assembly file tells it.

    Attributes:
        pin: key. ohms: the loads that are to be driven. sensitivity: of what is plugged in, or None.
    """

    pin: str
    ohms: tuple[float, ...]
    sensitivity: Quantity | None = None


class Loads:
    """What outputs lead to.

    Args:
        told: outputs that the assembly tells.
        phones_words: words of a socket or a net for headphones, upper case. phones: ohms that are usual there.
        up_to: ohms in series beyond which an output is not meant for headphones.
        line: ohms of a line input. line_up_to: ohms in series before one, at most.
        line_families: of connectors that lead to one.
    """

    def __init__(
        self,
        walks: Walks,
        told: Iterable[ToldLoad] = (),
        phones_words: frozenset[str] = frozenset(),
        phones: tuple[float, ...] = (),
        up_to: float = 0.0,
        line: float = 0.0,
        line_up_to: float = 0.0,
        line_families: frozenset[str] = frozenset({"rca", "xlr", "din"}),
    ) -> None:
        self.walks, self.told = walks, tuple(told)
        self.phones_words, self.phones, self.up_to = phones_words, phones, up_to
        self.line, self.line_up_to, self.line_families = line, line_up_to, line_families
        self._far: dict[str, frozenset[str]] = {}

    @cached_property
    def _told_on(self) -> dict[str, list[ToldLoad]]:
        found: dict[str, list[ToldLoad]] = {}
        for one in self.told:
            for net in self.walks.joined_by_cable(self.walks.circuit.pins[one.pin].net):
                found.setdefault(net, []).append(one)
        return found

    def outputs_at(self, net: str) -> tuple[ToldLoad, ...]:
        """Outputs that are told and that a net leads to."""
        found = {one.pin: one for far in self.far(net) for one in self._told_on.get(far, ())}
        return tuple(found[pin] for pin in sorted(found, key=natural_key))

    def ohms_at(self, net: str) -> tuple[float, ...]:
        """Loads of an output, the least first: those told, else those usual at the socket, else none."""
        told = {ohms for one in self.outputs_at(net) for ohms in one.ohms}
        if told:
            return tuple(sorted(told))
        return tuple(sorted(self.phones)) if self.phones_at(net) else self._line_at(net)

    def _line_at(self, net: str) -> tuple[float, ...]:
        """What a line input is, where a socket for one is seen; before it more ohms may stand."""
        near = any(part.family in self.line_families for part in self._connectors(net))
        families = self.line_families | {"jack"}
        return (self.line,) if near or any(part.family in families for part in self._beyond(net)) else ()

    def _beyond(self, net: str) -> list[Part]:
        """Connectors behind one further resistor."""
        near = self.far(net)
        steps = (to for at in near for _, to in self._steps(at, self.line_up_to, frozenset()))
        nets = {to for to in steps if to not in near and self.walks.circuit.nets[to].role not in STOPS}
        return [part for to in sorted(nets, key=natural_key) for part in self._connectors(to)]

    def outlets(self, net: str) -> tuple[Part, ...]:
        """Connectors that an output leads to, contacts taken as on."""
        found = {part.key: part for part in (*self._connectors(net), *self._beyond(net))}
        return tuple(found[key] for key in sorted(found, key=natural_key))

    def phones_at(self, net: str) -> Part | None:
        """The socket for headphones that a net leads to: a jack, or a connector that says so; or None."""
        for part in self._connectors(net):
            words = set(part.value.text.upper().replace("_", " ").split())
            names = {self.walks.circuit.nets[pin.net].name for pin in part.pins}
            for name in names:
                words |= set(name.upper().replace("/", " ").replace("_", " ").split())
            if part.family == "jack" or words & self.phones_words:
                return part
        return None

    def _connectors(self, net: str) -> list[Part]:
        found = {pin.part: self.walks.circuit.parts[pin.part] for far in self.far(net) for pin in self._plugs(far)}
        return sorted(found.values(), key=lambda part: natural_key(part.key))

    def far(self, net: str) -> frozenset[str]:
        """Nets that an output feeds, through so many ohms in series at most; contacts are taken as on."""
        if net not in self._far:
            self._far[net] = self._walked(net)
        return self._far[net]

    def direct_outlets(self, net: str) -> tuple[Part, ...]:
        """Connectors that the direct volts of an output get to: no capacitor stands before them."""
        nets = self._walked(net, _FREE - {"capacitor"})
        found = {pin.part: self.walks.circuit.parts[pin.part] for at in nets for pin in self._plugs(at)}
        return tuple(found[key] for key in sorted(found, key=natural_key))

    def _plugs(self, net: str) -> tuple[Pin, ...]:
        return tuple(self.walks.on(net).get("connector", ()))

    def _walked(self, net: str, free: frozenset[str] = _FREE) -> frozenset[str]:
        nearest: dict[str, float] = {}
        todo = [(0.0, one) for one in self.walks.joined_by_cable(net)]
        while todo:
            ohms, at = heapq.heappop(todo)
            if at in nearest:
                continue
            nearest[at] = ohms
            for further, to in self._steps(at, self.up_to, free):
                for fellow in self.walks.joined_by_cable(to):
                    signal = self.walks.circuit.nets[fellow].role not in STOPS
                    if fellow not in nearest and ohms + further <= self.up_to and signal:
                        heapq.heappush(todo, (ohms + further, fellow))
        return frozenset(nearest)

    def _steps(self, net: str, up_to: float, free: frozenset[str] = _FREE) -> Iterator[tuple[float, str]]:
        for kind, pins in self.walks.on(net).items():
            if kind not in free and kind != "resistor":
                continue
            for pin in pins:
                part = self.walks.circuit.parts[pin.part]
                ohms = part.value.number if kind == "resistor" else 0.0
                if ohms is not None and ohms <= up_to:
                    yield from ((ohms, other.net) for other, _ in self.walks.across(pin))
