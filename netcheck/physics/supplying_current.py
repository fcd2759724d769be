"""Direct current that is taken from a rail: by the parts on it, through regulators by what is behind them, and more
with a signal.

At rest it is what `railcurrents` adds up, here over all boards and through regulators. With a signal, a stage of class
B takes the mean of half a sine from each of its rails, peak / pi; it is taken to reach the nominal rail, less what the
ohms in its way take off: what the stage itself needs is left out, so that the current is rather too large.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from netcheck.circuit.conduction import PASSING, SERIES
from netcheck.circuit.model import Circuit, Net, Part, Pin
from netcheck.circuit.walk import Walks
from netcheck.circuit.words import Words
from netcheck.ground.names import natural_key
from netcheck.language.values import Unknown, unite
from netcheck.physics.devices import figure

if TYPE_CHECKING:  # the solver and numpy behind it are imported when the first number is asked for
    from netcheck.physics.points import Points

_ENDS = frozenset({"ground", "chassis", "earth", "mains"})
_MAIN = {"emitter": "collector", "source": "drain", "collector": "emitter", "drain": "source"}
_REGULATORS = frozenset({"regulator"})
_DISCRETE = frozenset({"npn", "pnp", "nmos", "pmos"})
_AMPLIFIERS = frozenset({"opamp", "buffer", "power amplifier"})
BEHIND, HEAVY = "resistor behind a stage", "load of a supply"
MOST_DEEP = 8
_OUTPUTS = "what hangs on the outputs is not given"


@dataclass(frozen=True, slots=True)
class DrivenLoad:
    """A load at an output of the assembly: the pin, ohms, and the peak volts that are wanted there or None."""

    pin: Pin
    ohms: float
    volts: float | None = None


@dataclass(frozen=True, slots=True)
class Drawn:
    """Amperes taken from a rail, as a magnitude.

    Attributes:
        low, nominal: at rest, of what is known. high: at rest at most; None where something is not known, by `reasons`.
        signal: mean that sines just below clipping take on top; None where a stage is not known.
    """

    low: float
    nominal: float
    high: float | None
    signal: float | None = 0.0
    reasons: tuple[str, ...] = ()

    def most(self, share: float) -> float | None:
        """With a signal of which the mean current is a share of that of a full sine."""
        return None if self.high is None or self.signal is None else self.high + share * self.signal

    def and_also(self, other: Drawn) -> Drawn:
        """Both together."""
        return Drawn(
            self.low + other.low,
            self.nominal + other.nominal,
            None if self.high is None or other.high is None else self.high + other.high,
            None if self.signal is None or other.signal is None else self.signal + other.signal,
            unite(self.reasons, other.reasons),
        )


NOTHING = Drawn(0.0, 0.0, 0.0)


class Currents:
    """What rails give, each found once.

    Args:
        points: the circuit at rest. loads: at the outputs of the assembly; None where none are told.
        words: which loads and which ohms before them count. feeds: keys of diodes and bridges that charge a rail and
            take nothing from it.
    """

    def __init__(
        self, points: Points, loads: Sequence[DrivenLoad] | None, words: Words, feeds: frozenset[str] = frozenset()
    ) -> None:
        self.points, self.loads, self.feeds = points, loads, feeds
        self.behind_ohms, self.heavy_ohms = words.limit(BEHIND).value, words.limit(HEAVY).value
        self.walks: Walks = points.walks
        self.circuit: Circuit = points.walks.circuit
        self._signals: dict[str, float] | None = None
        self._unknown_stages: tuple[str, ...] = ()
        self._found: dict[frozenset[str], Drawn] = {}

    def group(self, net: str) -> frozenset[str]:
        """Nets that are one supply with a rail: through cables, and through what is in series between two rails."""
        found, todo = {net}, [net]
        while todo:
            at = todo.pop()
            fresh = set(self.walks.joined_by_cable(at)) | set(self._beyond(at))
            fresh -= found
            found |= fresh
            todo.extend(fresh)
        return frozenset(found)

    def side(self, net: str, wires: Mapping[str, Sequence[str]], apart: frozenset[str]) -> frozenset[str]:
        """Nets that are one supply with a rail, by given wires but those between two nets that are told apart."""
        found, todo = {net}, [net]
        while todo:
            at = todo.pop()
            led = (there for there in wires.get(at, ()) if not {at, there} <= apart)
            fresh = {*led, *self._beyond(at)} - found
            found |= fresh
            todo.extend(fresh)
        return frozenset(found)

    def of_side(self, nets: frozenset[str]) -> Drawn:
        """What is taken from a rail by what hangs on some of its nets."""
        return self._summed(nets, 0)

    def _beyond(self, net: str) -> Iterator[str]:
        sign = self.circuit.nets[net].sign
        for kind, pins in self.walks.on(net).items():
            for pin in pins if kind in SERIES else ():
                part = self.circuit.parts[pin.part]
                if len(part.pins) == 2:
                    for mate in part.pins:
                        there = self.circuit.nets[mate.net]
                        if there.role == "rail" and there.sign == sign and mate.net != net:
                            yield mate.net

    def of(self, net: str, deep: int = 0) -> Drawn:
        """What is taken from a rail by all that hangs on it."""
        group = self.group(net)
        if group not in self._found:
            self._found[group] = NOTHING  # what feeds itself in a ring is counted once
            self._found[group] = self._summed(group, deep)
        return self._found[group]

    def _summed(self, group: frozenset[str], deep: int) -> Drawn:
        sign = next((self.circuit.nets[net].sign for net in sorted(group) if self.circuit.nets[net].sign), "positive")
        total = self._of_signals(group)
        pins = [pin for net in group for pin in self.circuit.pins_on(self.circuit.nets[net])]
        for key in sorted({pin.part for pin in pins}, key=natural_key):
            part = self.circuit.parts[key]
            mine = [pin for pin in part.pins if pin.net in group]
            total = total.and_also(self._of_part(part, mine, sign, deep))
        return total

    def _of_part(self, part: Part, pins: list[Pin], sign: str, deep: int) -> Drawn:
        if part.key in self.feeds or (part.kind == "diode" and self._only_feeds(pins, sign)):
            return NOTHING
        if part.kind == "diode" and (on := self._led_on_to(part, pins, sign)) is not None:
            if self.walks.parts_between(pins[0].net, on, _REGULATORS):
                return NOTHING  # it protects a regulator
            return self.of(on, deep + 1) if deep <= MOST_DEEP else _unknown(_opaque(self.walks.said(part)))
        if part.kind == "connector":
            loose = [pin for pin in pins if pin in self.walks.leaves_board(pin.net)]
            return _unknown(f"what {self.walks.said(part)} is joined to is not given") if loose else NOTHING
        if part.kind == "regulator":
            return self._of_regulator(part, pins, deep)
        from netcheck.physics.railcurrents import taken

        total, way = NOTHING, -1.0 if sign == "negative" else 1.0
        for found in taken(self.points, part, pins):
            if isinstance(found, Unknown):
                total = total.and_also(_unknown(found.reasons[0]))
            else:
                ends = sorted((way * found.low, way * found.high))
                total = total.and_also(Drawn(ends[0], way * found.nominal, ends[1]))
        return total

    def _only_feeds(self, pins: list[Pin], sign: str) -> bool:
        """Whether a diode is on a rail with the end by which it gives current to it."""
        giving = "anode" if sign == "negative" else "cathode"
        return len(pins) == 1 and pins[0].role == giving

    def _led_on_to(self, part: Part, pins: list[Pin], sign: str) -> str | None:
        """The rail of like sign that a diode leads to from this one."""
        others = [pin.net for pin in part.pins if pin not in pins]
        there = self.circuit.nets[others[0]] if len(others) == 1 else None
        return there.key if there is not None and there.role == "rail" and there.sign == sign else None

    def _of_regulator(self, part: Part, pins: list[Pin], deep: int) -> Drawn:
        roles = {pin.role for pin in pins}
        if "input" not in roles:
            return NOTHING if roles <= {"output", "adjust", "ground"} else _unknown(_opaque(self.walks.said(part)))
        outputs = {pin.net for pin in part.by_role("output")}
        if len(outputs) != 1 or deep > MOST_DEEP:
            return _unknown(_opaque(self.walks.said(part)))
        return self.of(outputs.pop(), deep + 1).and_also(own_current(part))

    # With a signal

    def _of_signals(self, group: frozenset[str]) -> Drawn:
        if self.loads is None:
            return Drawn(0.0, 0.0, 0.0, None, (_OUTPUTS,)) if any(map(self._drives, group)) else NOTHING
        if self._signals is None:
            self._signals = {}
            for load in self.loads:
                self._add(load)
        if self._unknown_stages:
            return Drawn(0.0, 0.0, 0.0, None, self._unknown_stages)
        return Drawn(0.0, 0.0, 0.0, math.fsum(self._signals.get(net, 0.0) for net in sorted(group)))

    def _drives(self, net: str) -> bool:
        """Whether something takes its current from a net that may drive an output."""
        on = self.walks.on(net)
        discrete = (pin for kind in _DISCRETE for pin in on.get(kind, ()))
        return any(kind in on for kind in _AMPLIFIERS) or any(pin.role in _MAIN.values() for pin in discrete)

    def _add(self, load: DrivenLoad) -> None:
        assert self._signals is not None
        if not 0 < load.ohms < self.heavy_ohms:
            return
        rails = [(net, ohms) for pin, ohms in self._stages(load.pin.net) for net in self._rails_of(pin)]
        if not rails:
            part = self.walks.said(self.circuit.parts[load.pin.part])
            self._unknown_stages = unite(self._unknown_stages, (f"which stage drives {part} is not known",))
        seen: set[frozenset[str]] = set()
        for net, ohms in rails:
            volts, group = self.points.volts(net.key), self.group(net.key)
            if isinstance(volts, Unknown):
                self._unknown_stages = unite(self._unknown_stages, volts.reasons)
            elif group not in seen:
                seen.add(group)
                most = abs(volts.nominal) / (load.ohms + ohms)
                peak = most if load.volts is None else min(most, load.volts / load.ohms)
                self._signals[net.key] = self._signals.get(net.key, 0.0) + peak / math.pi

    def _stages(self, net: str) -> list[tuple[Pin, float]]:
        """Outputs that drive a net, with the ohms between, the nearest first; contacts are taken as closed."""
        found: list[tuple[Pin, float]] = []
        todo, seen = [(0.0, net)], set[str]()
        while todo:
            ohms, at = heapq.heappop(todo)
            if at in seen:
                continue
            for fellow in self.walks.joined_by_cable(at):
                seen.add(fellow)
                if fellow != net and self.circuit.nets[fellow].role in _ENDS | {"rail"}:
                    continue
                for pin in self.circuit.pins_on(self.circuit.nets[fellow]):
                    if self._gives(pin):
                        found.append((pin, ohms))
                    for other, more in self._onward(pin):
                        if other not in seen and ohms + more <= self.behind_ohms:
                            heapq.heappush(todo, (ohms + more, other))
        return found

    def _onward(self, pin: Pin) -> Iterator[tuple[str, float]]:
        part = self.circuit.parts[pin.part]
        if part.kind not in PASSING or pin.role == "coil":
            return
        ohms = part.value.number if part.kind == "resistor" else 0.0
        if ohms is not None:
            yield from ((other.net, ohms) for other, _ in self.walks.across(pin) if other.role != "coil")

    def _gives(self, pin: Pin) -> bool:
        part = self.circuit.parts[pin.part]
        if part.kind in _DISCRETE:
            return pin.role in _MAIN and any(
                self.circuit.nets[p.net].role == "rail" for p in part.by_role(_MAIN[pin.role])
            )
        return part.kind in _AMPLIFIERS and pin.role == "output"

    def _rails_of(self, pin: Pin) -> list[Net]:
        """The rails that an output takes its current from."""
        part = self.circuit.parts[pin.part]
        roles = (_MAIN[pin.role],) if pin.role in _MAIN else ("supply plus", "supply minus")
        nets = [self.circuit.nets[one.net] for role in roles for one in part.by_role(role)]
        return [net for net in nets if net.role == "rail"]


def own_current(part: Part) -> Drawn:
    """What a regulator takes by itself: its ground pin's current, nothing for one whose book tells none.

    An adjustable one sends its own current to its output, where it counts towards the divider's.
    """
    ends = [figure(part.record, "supply_current", way) or 0.0 for way in (-1, 0, 1)]
    most = figure(part.record, "supply_current_total_most", 1)
    return Drawn(ends[0], ends[1], max(ends[2], most or 0.0))


def _unknown(reason: str) -> Drawn:
    return Drawn(0.0, 0.0, None, 0.0, (reason,))


def _opaque(said: str) -> str:
    return f"what {said} takes is not known"
