"""All ways in which one form of a shape fits a circuit: an anchored join.

It begins with the rarest kind of part and goes on from pin to net to the parts of one kind on that net, so that a net
with thousands of pins is never looked through as a whole. A list (`many`) is not multiplied out: what fits beside the
same nets goes into one way.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeAlias

from netcheck.circuit.conduction import VARIABLE
from netcheck.circuit.model import FET_ALIASES, Amplifier, Net, Part, Pin
from netcheck.circuit.shapeparts import Form, Match, NetSlot, PartSlot, Passes, Tie, has
from netcheck.circuit.walk import STOPS, Walks, natural_key
from netcheck.language.scope import TooManySteps
from netcheck.language.values import Lot, unite

Thing: TypeAlias = Part | Amplifier | Match
Claim: TypeAlias = tuple[str, str]

# Kinds whose value in ohms decides whether `~` may pass them.
_OHMIC = frozenset({"resistor", "thermistor", "photoresistor", "resistor network"}) | VARIABLE


@dataclass(slots=True)
class Budget:
    """Steps left; a shape that needs more is given up."""

    left: int

    def step(self, count: int = 1) -> None:
        """Raises: TooManySteps: when none are left."""
        self.left -= count
        if self.left < 0:
            raise TooManySteps


@dataclass(frozen=True, slots=True)
class Passing:
    """Where one part leads: the parts that stand there in parallel, and why it may not conduct."""

    parts: tuple[Part, ...] = ()
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Fit:
    """What one thing binds: nets by name, parts passed, pairs of nets between them, reasons for a doubt."""

    nets: Mapping[str, str] = field(default_factory=dict)
    passed: tuple[Part, ...] = ()
    hops: frozenset[tuple[str, str]] = frozenset()
    unsure: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Row:
    """A member of a list, with the nets that only the list hangs on."""

    thing: Thing
    fit: Fit


@dataclass(frozen=True, slots=True)
class Way:
    """A way to fit: single things, nets, lists."""

    form: Form
    things: Mapping[str, Thing] = field(default_factory=dict)
    lists: Mapping[str, tuple[Row, ...]] = field(default_factory=dict)
    fit: Fit = field(default_factory=Fit)


def claims(thing: Thing) -> frozenset[Claim]:
    """What a thing takes up, so that nothing has two places in one match."""
    if isinstance(thing, Part):
        return frozenset({("part", thing.key)})
    if isinstance(thing, Amplifier):
        return frozenset({("amplifier", thing.key)})
    return frozenset(claim for one in thing.things for claim in claims(one))


def clash(thing: Thing, others: Collection[Thing]) -> bool:
    """Whether a thing, or a part of it, is among others; a package is in the way of its own amplifiers."""
    if not others:
        return False
    mine = _spread(thing)
    return any(mine & claims(other) or claims(thing) & _spread(other) for other in others)


def _spread(thing: Thing) -> frozenset[Claim]:
    """Claims, and the package of each amplifier as well."""
    if isinstance(thing, Match):
        return frozenset(claim for one in thing.things for claim in _spread(one))
    if isinstance(thing, Amplifier):
        return frozenset({("amplifier", thing.key), ("part", thing.part)})
    return claims(thing)


class Join:
    """Finds all ways of one form."""

    def __init__(
        self,
        form: Form,
        passes: Passes | None,
        one_per: Sequence[str],
        walks: Walks,
        matches: Mapping[str, Sequence[Match]],
        budget: Budget,
    ) -> None:
        self.form, self.passes, self.walks, self.budget = form, passes, walks, budget
        self.slots = {slot.name: slot for slot in form.parts}
        self.net_slots = {slot.name: slot for slot in form.nets}
        self.ties = {name: tuple(tie for tie in form.ties if tie.part == name) for name in self.slots}
        self.net_ties = tuple(tie for tie in form.ties if not tie.part)
        self.matches = {
            slot.name: tuple(match for match in matches.get(slot.shape, ()) if has(match, slot.equals))
            for slot in form.parts
            if slot.shape is not None
        }
        self.private = self._private_nets(one_per)
        self._near: dict[str, dict[str, Passing]] = {}
        self._indexes: dict[tuple[str, str], dict[str, list[Thing]]] = {}
        self._orders: dict[str, tuple[Tie, ...]] = {}

    def _private_nets(self, one_per: Sequence[str]) -> dict[str, frozenset[str]]:
        """Nets that only one list hangs on, by the list: each member may have its own."""
        shared = set(one_per) | {net for tie in self.net_ties for net in tie.nets}
        users: dict[str, set[str]] = {}
        for tie in self.form.ties:
            for net in tie.nets:
                users.setdefault(net, set()).add(tie.part)
        return {
            slot.name: frozenset(net for net, parts in users.items() if parts == {slot.name} and net not in shared)
            if slot.many
            else frozenset()
            for slot in self.form.parts
        }

    # The order of work

    def count(self, slot: PartSlot) -> int:
        """How many things there are for a place at most."""
        if slot.shape is not None:
            return len(self.matches[slot.name])
        amplifiers = len(self.walks.amplifiers) if "amplifier" in slot.kinds else 0
        return amplifiers + sum(len(self.walks.by_kind.get(kind, ())) for kind in slot.kinds)

    def plan(self) -> list[PartSlot | Tie]:
        """Places and ties between nets, the rarest place first, then what hangs on nets that are known by then."""
        slots, ties = list(self.form.parts), list(self.net_ties)
        bound: set[str] = set()
        order: list[PartSlot | Tie] = []
        while slots or ties:
            ready = [tie for tie in ties if tie.nets[0] in bound] or ([] if slots else ties)
            if ready:
                ties.remove(ready[0])
                order.append(ready[0])
                bound.update(ready[0].nets)
                continue
            chosen = min(slots, key=lambda slot: (self._anchor(slot, bound), self.count(slot), slot.name))
            slots.remove(chosen)
            order.append(chosen)
            bound.update(net for tie in self.ties[chosen.name] for net in tie.nets)
        return order

    def _anchor(self, slot: PartSlot, bound: set[str]) -> int:
        ways = {tie.way for tie in self.ties[slot.name] if any(net in bound for net in tie.nets)}
        return 0 if not bound or ways & {"=", "joins"} else 1 if ways else 2

    # Ways

    def ways(self) -> Iterator[Way]:
        """Every way to fit, lists gathered.

        Raises:
            TooManySteps: when the budget is used up.
        """
        if all(self.count(slot) for slot in self.form.parts):
            for way in self._place(self.plan(), 0, Way(self.form)):
                settled = _settle(way)
                if settled is not None:
                    yield settled

    def _place(self, plan: Sequence[PartSlot | Tie], at: int, way: Way) -> Iterator[Way]:
        if at == len(plan):
            yield way
            return
        item = plan[at]
        if isinstance(item, Tie):
            for fit in self._join_nets(item, way.fit):
                yield from self._place(plan, at + 1, Way(way.form, way.things, way.lists, fit))
        elif item.many:
            for nets, rows in self._rows(item, way).items():
                fit = Fit({**way.fit.nets, **dict(nets)}, way.fit.passed, way.fit.hops, way.fit.unsure)
                lists = {**way.lists, item.name: tuple(rows)}
                yield from self._place(plan, at + 1, Way(way.form, way.things, lists, fit))
        else:
            for thing in self._candidates(item, way.fit.nets):
                if clash(thing, way.things.values()):
                    continue
                for fit in self._hang(thing, self._tie_order(item, way.fit.nets), 0, _with_thing(way.fit, thing)):
                    things = {**way.things, item.name: thing}
                    yield from self._place(plan, at + 1, Way(way.form, things, way.lists, fit))

    def _rows(self, slot: PartSlot, way: Way) -> dict[tuple[tuple[str, str], ...], list[Row]]:
        """Members for a list, by the nets that they share with the rest."""
        private = self.private[slot.name]
        found: dict[tuple[tuple[str, str], ...], list[Row]] = {}
        for thing in self._candidates(slot, way.fit.nets):
            if clash(thing, way.things.values()):
                continue
            begin = _with_thing(Fit(way.fit.nets), thing)
            for fit in self._hang(thing, self._tie_order(slot, way.fit.nets), 0, begin):
                fresh = {name: net for name, net in fit.nets.items() if name not in way.fit.nets}
                shared = tuple(sorted((name, net) for name, net in fresh.items() if name not in private))
                own = {name: net for name, net in fresh.items() if name in private}
                found.setdefault(shared, []).append(Row(thing, Fit(own, fit.passed, fit.hops, fit.unsure)))
        return dict(sorted(found.items(), key=lambda item: [(name, natural_key(net)) for name, net in item[0]]))

    # Candidates

    def _candidates(self, slot: PartSlot, nets: Mapping[str, str]) -> Iterator[Thing]:
        """Things for a place, from the smallest set that has them all."""
        best: tuple[int, Tie, Sequence[str]] | None = None
        for tie in self.ties[slot.name]:
            for name in tie.nets:
                if name in nets:
                    around = [nets[name]]
                    if tie.way == "~":
                        around += self._near_back(nets[name])
                    size = sum(self._size(slot, tie, net) for net in around)
                    if best is None or size < best[0]:
                        best = (size, tie, around)
        if best is None or self.count(slot) <= best[0]:
            yield from self._all(slot)
            return
        seen: set[object] = set()
        for net in best[2]:
            for thing in self._on(slot, best[1], net):
                mark = thing if isinstance(thing, Match) else thing.key
                if mark not in seen:
                    seen.add(mark)
                    self.budget.step()
                    yield thing

    def _all(self, slot: PartSlot) -> Iterator[Thing]:
        groups: list[Iterable[Thing]] = [self.matches.get(slot.name, ())]
        groups += [self.walks.by_kind.get(kind, ()) for kind in sorted(slot.kinds)]
        if "amplifier" in slot.kinds:
            groups.append(self.walks.amplifiers)
        for group in groups:
            for thing in group:
                self.budget.step()
                yield thing

    def _size(self, slot: PartSlot, tie: Tie, net: str) -> int:
        on = self.walks.on(net)
        parts = sum(len(on.get(kind, ())) for kind in slot.kinds)
        if slot.shape is not None or "amplifier" in slot.kinds:
            parts += len(self._index(slot, tie.role).get(net, ()))
        return parts

    def _on(self, slot: PartSlot, tie: Tie, net: str) -> Iterator[Thing]:
        """Things of a place whose pin for a tie is on a net."""
        on = self.walks.on(net)
        roles = (tie.role, FET_ALIASES.get(tie.role, tie.role))
        for kind in sorted(slot.kinds):
            for pin in on.get(kind, ()):
                if tie.way == "joins" or pin.role in roles:
                    yield self.walks.circuit.parts[pin.part]
        if slot.shape is not None or "amplifier" in slot.kinds:
            yield from self._index(slot, tie.role).get(net, ())

    def _index(self, slot: PartSlot, role: str) -> dict[str, list[Thing]]:
        """Matches or amplifiers by the net that one of their names or pins is on."""
        found = self._indexes.get((slot.name, role))
        if found is None:
            found = self._indexes[slot.name, role] = {}
            things: Iterable[Thing] = self.walks.amplifiers if slot.shape is None else self.matches[slot.name]
            for thing in things:
                for net in self._nets_at(thing, role):
                    found.setdefault(net, []).append(thing)
        return found

    # Ties

    def _tie_order(self, slot: PartSlot, nets: Mapping[str, str]) -> tuple[Tie, ...]:
        """Ties that decide soonest first: those to known nets, then to nets of which something is asked.

        A place has its turn once, with the same nets known whenever it comes.
        """

        def rank(tie: Tie) -> tuple[bool, bool, bool]:
            return (
                not all(net in nets for net in tie.nets),
                not any(net in self.net_slots for net in tie.nets),
                tie.way == "~",
            )

        if slot.name not in self._orders:
            self._orders[slot.name] = tuple(sorted(self.ties[slot.name], key=rank))
        return self._orders[slot.name]

    def _hang(self, thing: Thing, ties: Sequence[Tie], at: int, fit: Fit) -> Iterator[Fit]:
        """Every way to hang a thing on nets."""
        if at == len(ties):
            yield fit
            return
        tie = ties[at]
        if tie.way == "joins":
            steps = self._join_ends(thing, tie, fit)
        else:
            steps = (
                step
                for net in self._nets_at(thing, tie.role)
                for step in (self._go(net, tie.nets[0], fit) if tie.way == "~" else self._bind(tie.nets[0], net, fit))
            )
        for step in steps:
            self.budget.step()
            yield from self._hang(thing, ties, at + 1, step)

    def _join_ends(self, thing: Thing, tie: Tie, fit: Fit) -> Iterator[Fit]:
        if not isinstance(thing, Part) or len(thing.pins) != 2:
            return
        one, two = (pin.net for pin in thing.pins)
        for ends in dict.fromkeys(((one, two), (two, one))):
            for first in self._bind(tie.nets[0], ends[0], fit):
                yield from self._bind(tie.nets[1], ends[1], first)

    def _join_nets(self, tie: Tie, fit: Fit) -> Iterator[Fit]:
        left, right = tie.nets
        if left in fit.nets:
            yield from self._go(fit.nets[left], right, fit)
        elif right in fit.nets:
            target = fit.nets[right]
            for net in (target, *self._near_back(target)):
                for bound in self._bind(left, net, fit):
                    yield from self._go(net, right, bound)

    def _go(self, net: str, name: str, fit: Fit) -> Iterator[Fit]:
        """From a net to the one that a name stands for: the same, or through one part that may be passed."""
        near = self._near_of(net)
        targets = (fit.nets[name],) if name in fit.nets else (net, *near)
        for target in targets:
            if target != net and target not in near:
                continue
            for bound in self._bind(name, target, fit):
                if target == net:
                    yield bound
                    continue
                passing = near[target]
                yield Fit(
                    bound.nets,
                    (*bound.passed, *passing.parts),
                    bound.hops | {(min(net, target), max(net, target))},
                    unite(bound.unsure, passing.reasons),
                )

    def _bind(self, name: str, net: str, fit: Fit) -> Iterator[Fit]:
        """Let a name stand for a net, if it does not stand for another and the net is what is asked for."""
        if name in fit.nets:
            if fit.nets[name] == net:
                yield fit
            return
        doubt = self._fits(self.net_slots.get(name), self.walks.circuit.nets[net])
        if doubt is not None:
            unsure = unite(fit.unsure, doubt) if doubt else fit.unsure
            yield Fit({**fit.nets, name: net}, fit.passed, fit.hops, unsure)

    def _fits(self, slot: NetSlot | None, net: Net) -> tuple[str, ...] | None:
        """None when a net is not what a shape asks for; else the reasons for a doubt."""
        if slot is None:
            return ()
        if slot.roles and net.role not in slot.roles:
            return None
        if not slot.sign:
            return ()
        if net.role == "rail" and not net.sign:
            return (f"whether {net.name or 'a net without a name'} is a positive or a negative rail is not known",)
        wanted = {"positive": ("positive",), "negative": ("negative",)}.get(slot.sign, ("negative", ""))
        return () if net.sign in wanted else None

    def _nets_at(self, thing: Thing, role: str) -> tuple[str, ...]:
        """Nets of the pins with a role; of a match, of what it offers under that name."""
        if isinstance(thing, Part):
            return tuple(dict.fromkeys(pin.net for pin in thing.by_role(role.replace("_", " "))))
        if isinstance(thing, Amplifier):
            key = getattr(thing, role.replace(" ", "_"), None)
            return (
                (self.walks.circuit.pins[key].net,) if isinstance(key, str) and key in self.walks.circuit.pins else ()
            )
        offered = thing.names.get(role)
        found = offered.members if isinstance(offered, Lot) else (offered,)
        return tuple(one.net if isinstance(one, Pin) else one.key for one in found if isinstance(one, Pin | Net))

    # Passing

    def _near_of(self, net: str) -> Mapping[str, Passing]:
        """Nets behind one part that may be passed; none behind a rail, ground or mains net."""
        return {} if self.walks.circuit.nets[net].role in STOPS else self._neighbours(net)

    def _near_back(self, net: str) -> list[str]:
        """Nets from which `~` gets to this one."""
        return [other for other in self._neighbours(net) if self.walks.circuit.nets[other].role not in STOPS]

    def _neighbours(self, net: str) -> Mapping[str, Passing]:
        found = self._near.get(net)
        if found is None:
            gathered: dict[str, list[tuple[Part, tuple[str, ...]]]] = {}
            on = self.walks.on(net) if self.passes is not None else {}
            for kind in sorted(self.passes.kinds) if self.passes is not None else ():
                for pin in on.get(kind, ()):
                    self.budget.step()
                    part = self.walks.circuit.parts[pin.part]
                    if self._may_pass(part):
                        for other, reasons in self.walks.across(pin):
                            if other.net != net:
                                gathered.setdefault(other.net, []).append((part, reasons))
            found = self._near[net] = {other: _passing(ways) for other, ways in gathered.items()}
        return found

    def _may_pass(self, part: Part) -> bool:
        """A value in doubt passes: a wrong value must not hide the circuit."""
        most = self.passes.most if self.passes is not None else None
        number = part.value.number
        return most is None or part.kind not in _OHMIC or number is None or number <= most


def _passing(ways: Sequence[tuple[Part, tuple[str, ...]]]) -> Passing:
    """Parts in parallel: those that surely conduct, if any does."""
    sure = [part for part, reasons in ways if not reasons]
    parts = {part.key: part for part in sure or [part for part, _ in ways]}
    reasons = () if sure else unite(*(doubt for _, doubt in sorted(ways, key=lambda way: natural_key(way[0].key))))
    return Passing(tuple(parts[key] for key in sorted(parts, key=natural_key)), reasons)


def _with_thing(fit: Fit, thing: Thing) -> Fit:
    """What a nested match passed and doubts goes on counting."""
    if not isinstance(thing, Match):
        return fit
    return Fit(fit.nets, (*fit.passed, *thing.passed), fit.hops | thing.hops, unite(fit.unsure, thing.unsure))


def _settle(way: Way) -> Way | None:
    """Members of lists that nothing else in the way holds; None when a list stays empty, or a named part is passed."""
    if not way.lists and not way.fit.passed:
        return way
    lists = {
        name: tuple(row for row in rows if not clash(row.thing, way.things.values()))
        for name, rows in way.lists.items()
    }
    if len(lists) > 1 and _share(lists):
        lists = {name: tuple(row for row in rows if _seats(row, name, lists)) for name, rows in lists.items()}
    if not all(lists.values()):
        return None
    held = {claim for thing in way.things.values() for claim in claims(thing)}
    if any(("part", part.key) in held for part in way.fit.passed):
        return None
    held |= {claim for rows in lists.values() for row in rows for claim in claims(row.thing)}
    lists = {
        name: tuple(row for row in rows if not any(("part", part.key) in held for part in row.fit.passed))
        for name, rows in lists.items()
    }
    return replace(way, lists=lists) if all(lists.values()) else None


def _share(lists: Mapping[str, Sequence[Row]]) -> bool:
    seen: set[Claim] = set()
    for rows in lists.values():
        mine = {claim for row in rows for claim in claims(row.thing)}
        if mine & seen:
            return True
        seen |= mine
    return False


def _seats(row: Row, name: str, lists: Mapping[str, Sequence[Row]]) -> bool:
    """Whether each other list has a member left when a row has its place."""
    taken: list[Thing] = [row.thing]

    def seat(others: Sequence[str]) -> bool:
        if not others:
            return True
        for other in lists[others[0]]:
            if not clash(other.thing, taken):
                taken.append(other.thing)
                if seat(others[1:]):
                    return True
                taken.pop()
        return False

    return seat([other for other in lists if other != name])
