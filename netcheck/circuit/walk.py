"""Walking through a circuit: what can be got to from a net, by which parts, and how many ohms lie between two nets.

Only fitted parts conduct. Those left out are told apart, so that a finding can say "C7 would, but is not fitted".
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

from netcheck.circuit.conduction import SWITCHED, VARIABLE, Group, groups_of
from netcheck.circuit.model import Amplifier, Circuit, Net, Part, Pin
from netcheck.ground.names import natural_key as _natural_key
from netcheck.language.values import Unknown, unite

Kinds = frozenset[str]

# Keys of one circuit are put in order again and again.
natural_key = lru_cache(1 << 16)(_natural_key)

# Nets that are got to but not passed: what is on a rail is not joined to everything else on that rail.
STOPS = frozenset({"rail", "ground", "chassis", "earth", "mains"})
LONGEST_CHAIN = 64
_MOST_KEPT = 20_000

# What `resistance` walks through. The resistance of the last three is small and not given by a netlist.
RESISTIVE = frozenset({"resistor", "link", "thermistor", "photoresistor", "fuse", "ferrite", "inductor"})
RESISTIVE |= VARIABLE | SWITCHED


@dataclass(frozen=True, slots=True)
class Reach:
    """What can be got to from a net.

    Attributes:
        nets: the net itself and what is surely got to, natural order of keys.
        parts: what was walked through. perhaps: further nets, each with the reasons for the doubt.
        skipped: parts that are not fitted and would have led on.
    """

    nets: tuple[Net, ...]
    parts: tuple[Part, ...] = ()
    perhaps: tuple[tuple[Net, tuple[str, ...]], ...] = ()
    skipped: tuple[Part, ...] = ()


@dataclass(frozen=True, slots=True)
class _Branch:
    """One way for current from net to net: bounds in ohms, why they differ, the parts in it."""

    low: float
    high: float
    reasons: tuple[str, ...]
    parts: tuple[Part, ...]


class Walks:
    """A circuit, ready to be walked; what was asked once is kept.

    Args:
        circuit: all boards. wires: net -> nets that a cable joins it with (either way). mated: keys of connector pins
        whose far end is known. positions: part key -> 'open' or 'closed', for switches and jumpers.
    """

    def __init__(
        self,
        circuit: Circuit,
        wires: Mapping[str, Sequence[str]] | None = None,
        mated: frozenset[str] = frozenset(),
        positions: Mapping[str, str] | None = None,
    ) -> None:
        self.circuit = circuit
        self._mated = mated
        self._positions = positions or {}
        self._wires: dict[str, set[str]] = {}
        for net, others in (wires or {}).items():
            for other in others:
                self._wires.setdefault(net, set()).add(other)
                self._wires.setdefault(other, set()).add(net)
        self._on: dict[str, dict[str, tuple[Pin, ...]]] = {}
        self._left_out: dict[str, dict[str, list[Pin]]] = {}
        self._parts_between: dict[tuple[str, str, Kinds | None, bool], tuple[Part, ...]] = {}
        self._parts_on: dict[tuple[str, Kinds | None, bool], tuple[Part, ...]] = {}
        self._groups: dict[str, tuple[Group, ...]] = {}
        self._reached: dict[tuple[str, Kinds, Kinds], Reach] = {}

    # The index

    @cached_property
    def by_kind(self) -> Mapping[str, tuple[Part, ...]]:
        """Fitted parts of each kind, in the order of the circuit."""
        found: dict[str, list[Part]] = {}
        for part in self.circuit.parts.values():
            if part.fitted:
                found.setdefault(part.kind, []).append(part)
        return {kind: tuple(parts) for kind, parts in found.items()}

    @cached_property
    def amplifiers(self) -> tuple[Amplifier, ...]:
        """Amplifiers of fitted packages."""
        parts = self.circuit.parts
        return tuple(amplifier for amplifier in self.circuit.amplifiers.values() if parts[amplifier.part].fitted)

    def on(self, net: str) -> Mapping[str, tuple[Pin, ...]]:
        """Pins of fitted parts on a net, by the kind of their part."""
        found = self._on.get(net)
        if found is None:
            gathered: dict[str, list[Pin]] = {}
            for key in self.circuit.nets[net].pins:
                pin = self.circuit.pins[key]
                if (part := self.circuit.parts[pin.part]).fitted:
                    gathered.setdefault(part.kind, []).append(pin)
            found = self._on[net] = {kind: tuple(pins) for kind, pins in gathered.items()}
        return found

    def count_on(self, net: str) -> int:
        """How many pins of fitted parts are on a net."""
        return sum(len(pins) for pins in self.on(net).values())

    def joined_by_cable(self, net: str) -> tuple[str, ...]:
        """A net and all that cables join it with, natural order."""
        if net not in self._wires:
            return (net,)
        found, todo = {net}, [net]
        while todo:
            fresh = self._wires.get(todo.pop(), set()) - found
            found |= fresh
            todo.extend(fresh)
        return tuple(sorted(found, key=natural_key))

    def said(self, part: Part) -> str:
        """A part as it is named in reasons; with its board where there are several."""
        return part.ref if len(self.circuit.boards) < 2 else f"{part.board}.{part.ref}"

    def groups(self, part: Part) -> tuple[Group, ...]:
        """Pins of a part that are joined inside it."""
        found = self._groups.get(part.key)
        if found is None:
            found = groups_of(part, self.said(part), self._positions.get(part.key, ""))
            self._groups[part.key] = found
        return found

    def across(self, pin: Pin) -> Iterator[tuple[Pin, tuple[str, ...]]]:
        """Pins that a pin is joined with inside its part, each with the reasons for a doubt."""
        seen = {pin.key}
        for group in self.groups(self.circuit.parts[pin.part]):
            if any(one.key == pin.key for one in group.pins):
                for other in group.pins:
                    if other.key not in seen:
                        seen.add(other.key)
                        yield other, group.reasons

    # Parts on and between nets

    def parts_on(self, net: str, kinds: Kinds | None = None) -> tuple[Part, ...]:
        """Fitted parts with a pin on a net, natural order."""
        return self._on_net(net, kinds, fitted=True)

    def unfitted_on(self, net: str, kinds: Kinds | None = None) -> tuple[Part, ...]:
        """Parts with a pin on a net that are not fitted."""
        return self._on_net(net, kinds, fitted=False)

    def parts_between(self, a: str, b: str, kinds: Kinds | None = None) -> tuple[Part, ...]:
        """Fitted parts with a pin on each of two nets; on one and the same net, with two pins on it."""
        return self._between(a, b, kinds, fitted=True)

    def unfitted_between(self, a: str, b: str, kinds: Kinds | None = None) -> tuple[Part, ...]:
        """Parts between two nets that are not fitted."""
        return self._between(a, b, kinds, fitted=False)

    def capacitors(self, a: str, b: str) -> tuple[Part, ...]:
        """Capacitors between two nets."""
        return self.parts_between(a, b, frozenset({"capacitor"}))

    def _on_net(self, net: str, kinds: Kinds | None, fitted: bool) -> tuple[Part, ...]:
        asked = (net, kinds, fitted)
        if asked not in self._parts_on:
            found: dict[str, Part] = {}
            for key in self.joined_by_cable(net):
                on = self.on(key) if fitted else self._left_out_on(key)
                for pin in (pin for kind, pins in on.items() if kinds is None or kind in kinds for pin in pins):
                    found[pin.part] = self.circuit.parts[pin.part]
            self._parts_on[asked] = _natural(found.values())
        return self._parts_on[asked]

    def _left_out_on(self, net: str) -> Mapping[str, Sequence[Pin]]:
        if net not in self._left_out:
            found = self._left_out[net] = {}
            for pin in map(self.circuit.pins.__getitem__, self.circuit.nets[net].pins):
                if not (part := self.circuit.parts[pin.part]).fitted:
                    found.setdefault(part.kind, []).append(pin)
        return self._left_out[net]

    def _between(self, a: str, b: str, kinds: Kinds | None, fitted: bool) -> tuple[Part, ...]:
        asked = (a, b, kinds, fitted)
        if asked not in self._parts_between:
            self._parts_between[asked] = self._look_between(a, b, kinds, fitted)
        return self._parts_between[asked]

    def _look_between(self, a: str, b: str, kinds: Kinds | None, fitted: bool) -> tuple[Part, ...]:
        ours, theirs = set(self.joined_by_cable(a)), set(self.joined_by_cable(b))
        if sum(len(self.circuit.nets[net].pins) for net in ours) > sum(len(self.circuit.nets[n].pins) for n in theirs):
            a, ours, theirs = b, theirs, ours

        def joins(part: Part) -> bool:
            nets = [pin.net for pin in part.pins]
            return sum(net in ours for net in nets) > 1 if ours == theirs else any(net in theirs for net in nets)

        return tuple(part for part in self._on_net(a, kinds, fitted) if joins(part))

    def leaves_board(self, net: str) -> tuple[Pin, ...]:
        """Connector pins on a net whose far end is not given; none when the net stays inside."""
        keys = self.joined_by_cable(net)
        pins = [pin for key in keys for pin in self.on(key).get("connector", ()) if pin.key not in self._mated]
        return tuple(sorted(pins, key=lambda pin: natural_key(pin.key)))

    # Walks

    def reach(self, net: str, kinds: Kinds, around: Kinds = frozenset()) -> Reach:
        """Nets that can be got to from a net through parts of some kinds.

        A rail, ground, chassis, earth or mains net is reached and not passed; the net begun with is always left.

        Args:
            net: key of the net to begin with. kinds: of the parts that may be walked through.
            around: keys of parts that may not be.
        """
        asked = (net, kinds, around)
        found = self._reached.get(asked)
        if found is None:
            if len(self._reached) > _MOST_KEPT:
                self._reached.clear()
            found = self._reached[asked] = _Walker(self, kinds, around).walk(net)
        return found

    def path(self, a: str, b: str, kinds: Kinds) -> tuple[Part, ...] | Unknown | None:
        """Parts on a shortest way from net to net through parts of some kinds.

        Returns:
            As few parts as possible, natural order deciding among equals; none at all on one and the same net.
            None when there is no way, `Unknown` when the only way leads through a switch or jumper whose position is
            not given. Rails, grounds and mains nets are not passed.
        """
        perhaps = self._shortest(a, b, kinds, unsure=True)
        if perhaps is None:
            return None
        parts, reasons = perhaps
        if reasons:
            sure = self._shortest(a, b, kinds, unsure=False)
            return sure[0] if sure is not None else Unknown(reasons)
        return parts

    def _shortest(self, a: str, b: str, kinds: Kinds, unsure: bool) -> tuple[tuple[Part, ...], tuple[str, ...]] | None:
        ends = set(self.joined_by_cable(b))
        front: list[tuple[str, tuple[Part, ...], tuple[str, ...]]] = [(n, (), ()) for n in self.joined_by_cable(a)]
        seen = {net for net, _, _ in front}
        while front:
            for net, parts, reasons in front:
                if net in ends:
                    return parts, reasons
            steps: list[tuple[int, bool, Part, str, tuple[str, ...]]] = []
            for place, (net, parts, _) in enumerate(front):
                if parts and self.circuit.nets[net].role in STOPS:
                    continue
                for part, other, doubt in self._steps(net, kinds):
                    if other not in seen and (unsure or not doubt):
                        steps.append((place, bool(doubt), part, other, doubt))
            steps.sort(key=lambda step: (step[0], step[1], natural_key(step[2].key), natural_key(step[3])))
            before, front = front, []
            for place, _, part, other, doubt in steps:
                if other not in seen:
                    _, parts, reasons = before[place]
                    for fellow in self.joined_by_cable(other):
                        seen.add(fellow)
                        front.append((fellow, (*parts, part), unite(reasons, doubt)))
        return None

    def _steps(self, net: str, kinds: Kinds) -> Iterator[tuple[Part, str, tuple[str, ...]]]:
        """Parts of some kinds on a net with the nets that they lead to."""
        on = self.on(net)
        for kind in kinds if len(kinds) < len(on) else on:
            if kind in kinds:
                for pin in on.get(kind, ()):
                    for other, doubt in self.across(pin):
                        if other.net != net:
                            yield self.circuit.parts[pin.part], other.net, doubt

    # Ohms

    def resistance(self, a: str, b: str) -> float | Unknown:
        """Ohms between two nets, of all that joins them directly, in parallel.

        Counted are resistors, links, closed jumpers and the tracks of potentiometers, and chains of these from whose
        middle nothing is tapped off. Fuses, beads and coils conduct with a resistance that is not given, a jumper or
        switch in an unknown position with anything from 0 to open: then the bounds are told.

        Returns:
            0 on one and the same net, infinity when nothing joins the two; `Unknown` with bounds when a value is in
            doubt and the rest does not settle it.

        Source: Kirchhoff; resistors in series add, conductances in parallel add.
        """
        return _in_parallel(self._branches(a, b))

    def resistors(self, a: str, b: str) -> tuple[Part, ...]:
        """The parts that `resistance` counts between two nets, natural order."""
        return _natural(part for branch in self._branches(a, b) for part in branch.parts)

    def _branches(self, a: str, b: str) -> list[_Branch]:
        ours, theirs = self.joined_by_cable(a), self.joined_by_cable(b)
        if a in theirs:
            return [_Branch(0.0, 0.0, (), ())]
        if sum(map(self.count_on, ours)) > sum(map(self.count_on, theirs)):
            ours, theirs = theirs, ours
        found: dict[frozenset[str], _Branch] = {}
        for net in ours:
            for part, other, _ in self._steps(net, RESISTIVE):
                branch = self._chain(part, net, other, frozenset(ours), frozenset(theirs))
                if branch is not None:
                    found[frozenset(one.key for one in branch.parts)] = branch
        return [found[key] for key in sorted(found, key=lambda parts: sorted(map(natural_key, parts)))]

    def _chain(self, part: Part, net: str, other: str, begin: Kinds, end: Kinds) -> _Branch | None:
        """Follow a chain of resistors from a net to the end, as long as nothing is tapped off between them."""
        branch = self._ohms(part, net, other)
        while other not in end:
            if other in begin or self.circuit.nets[other].role in STOPS or len(branch.parts) >= LONGEST_CHAIN:
                return None
            if other in self._wires or len({pin.net for pin in part.pins}) > 2:
                return None
            onward = {p for pins in self.on(other).values() for p in (pin.part for pin in pins)} - {part.key}
            ways = [step for step in self._steps(other, RESISTIVE) if step[0].key in onward]
            targets = {(step[0].key, step[1]) for step in ways}
            if len(onward) != 1 or len(targets) != 1:
                return None
            part, following, _ = ways[0]
            link = self._ohms(part, other, following)
            branch = _Branch(
                branch.low + link.low,
                branch.high + link.high,
                unite(branch.reasons, link.reasons),
                (*branch.parts, part),
            )
            other = following
        return branch

    def _ohms(self, part: Part, net: str, other: str) -> _Branch:
        """Ohms of one part between two of its nets."""
        value, said, whole = part.value.number, self.said(part), (part,)
        if part.kind == "link":
            return _Branch(0.0, 0.0, (), whole)
        if part.kind in SWITCHED:
            doubt = min((reasons for _, to, reasons in self._steps_of(part, net) if to == other), default=(), key=len)
            return _Branch(0.0, math.inf if doubt else 0.0, doubt, whole)
        if part.kind in ("thermistor", "photoresistor"):
            return _Branch(0.0, math.inf, (f"the resistance of {said} is not constant",), whole)
        if part.kind in ("fuse", "ferrite", "inductor"):
            return _Branch(0.0, math.inf, (f"the resistance of {said} is not given",), whole)
        if value is None:
            text = part.value.text.strip()
            doubt = (f"{said} has the value '{text}'" if text else f"{said} has no value",)
            return _Branch(0.0, math.inf, doubt, whole)
        if part.kind in VARIABLE and not _from_end_to_end(part, net, other):
            return _Branch(0.0, value, (f"the setting of {said} is not given",), whole)
        return _Branch(value, value, (), whole)

    def _steps_of(self, part: Part, net: str) -> Iterator[tuple[Part, str, tuple[str, ...]]]:
        for pin in part.pins:
            if pin.net == net:
                for other, doubt in self.across(pin):
                    yield part, other.net, doubt


class _Walker:
    """One walk: first to all that is surely got to, then on through what is in doubt."""

    def __init__(self, walks: Walks, kinds: Kinds, around: Kinds) -> None:
        self.walks, self.kinds, self.around = walks, kinds, around
        self.sure: dict[str, None] = {}
        self.perhaps: dict[str, tuple[str, ...]] = {}
        self.parts: dict[str, Part] = {}
        self.doubtful: list[tuple[str, tuple[str, ...]]] = []

    def walk(self, net: str) -> Reach:
        """All that can be got to from a net."""
        start = self.walks.joined_by_cable(net)
        self.sure = dict.fromkeys(start)
        self._spread(list(start), start, self._go_surely)
        todo: list[str] = []
        for other, reasons in sorted(self.doubtful, key=lambda pair: (natural_key(pair[0]), pair[1])):
            todo += self._enter_perhaps(other, reasons)
        self._spread(todo, start, self._go_perhaps)
        nets = self.walks.circuit.nets
        return Reach(
            tuple(nets[key] for key in sorted(self.sure, key=natural_key)),
            _natural(self.parts.values()),
            tuple((nets[key], self.perhaps[key]) for key in sorted(self.perhaps, key=natural_key)),
            self._skipped(start),
        )

    def _passes(self, net: str, start: tuple[str, ...]) -> bool:
        return net in start or self.walks.circuit.nets[net].role not in STOPS

    def _spread(
        self, todo: list[str], start: tuple[str, ...], go: Callable[[str, Part, str, tuple[str, ...]], list[str]]
    ) -> None:
        """Breadth first, so that the reasons are those of a shortest way."""
        at = 0
        while at < len(todo):
            net = todo[at]
            at += 1
            if self._passes(net, start):
                steps = [step for step in self.walks._steps(net, self.kinds) if step[0].key not in self.around]
                if go == self._go_perhaps:
                    steps.sort(key=lambda step: (natural_key(step[1]), step[2]))
                for part, other, doubt in steps:
                    todo += go(net, part, other, doubt)

    def _go_surely(self, net: str, part: Part, other: str, doubt: tuple[str, ...]) -> list[str]:
        if doubt:
            self.doubtful.append((other, doubt))
            return []
        self.parts[part.key] = part
        fresh = [key for key in self.walks.joined_by_cable(other) if key not in self.sure]
        self.sure.update(dict.fromkeys(fresh))
        return fresh

    def _go_perhaps(self, net: str, part: Part, other: str, doubt: tuple[str, ...]) -> list[str]:
        return self._enter_perhaps(other, unite(self.perhaps[net], doubt))

    def _enter_perhaps(self, net: str, reasons: tuple[str, ...]) -> list[str]:
        keys = self.walks.joined_by_cable(net)
        fresh = [key for key in keys if key not in self.sure and key not in self.perhaps]
        self.perhaps.update((key, reasons) for key in fresh)
        return fresh

    def _skipped(self, start: tuple[str, ...]) -> tuple[Part, ...]:
        """Parts that are not fitted and lead from a net that was passed to one that was not reached."""
        circuit, found = self.walks.circuit, {}
        for key in self.sure:
            if not self._passes(key, start):
                continue
            for pin_key in circuit.nets[key].pins:
                pin = circuit.pins[pin_key]
                part = circuit.parts[pin.part]
                if part.fitted or part.kind not in self.kinds or part.key in self.around:
                    continue
                if any(other.net not in self.sure for other, _ in self.walks.across(pin)):
                    found[part.key] = part
        return _natural(found.values())


def _from_end_to_end(part: Part, net: str, other: str) -> bool:
    """Whether two nets are on the ends of a track and the wiper on neither."""
    wipers = {pin.net for pin in part.pins if pin.role == "wiper"}
    ends = {pin.net for pin in part.pins if pin.role == "end"}
    return bool(wipers) and {net, other} <= ends and not {net, other} & wipers


def _in_parallel(branches: Sequence[_Branch]) -> float | Unknown:
    low, high = (_parallel([getattr(branch, side) for branch in branches]) for side in ("low", "high"))
    if low == high:
        return low
    reasons = unite(*(branch.reasons for branch in branches))
    return Unknown(reasons, low, None if math.isinf(high) else high)


def _parallel(ohms: Sequence[float]) -> float:
    """
    >>> _parallel([100.0, 100.0]), _parallel([0.0, 5.0]), _parallel([]), _parallel([math.inf, 5.0])
    (50.0, 0.0, inf, 5.0)
    """
    if len(ohms) == 1:
        return ohms[0]
    if any(one == 0 for one in ohms):
        return 0.0
    conductance = sum(1 / one for one in ohms)
    return 1 / conductance if conductance else math.inf


def _natural(parts: Iterable[Part]) -> tuple[Part, ...]:
    unique = {part.key: part for part in parts}
    return tuple(unique[key] for key in sorted(unique, key=natural_key))
