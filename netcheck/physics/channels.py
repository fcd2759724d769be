"""Left and right: which part of one channel stands where which part of the other does.

The two channels are known from names (OUT_L and OUT_R, sheets called left and right), from tip and ring of one jack,
from the two gangs of a potentiometer, and from names of an integrated circuit's pins; never from two amplifiers in one
package alone. From there they are laid side by side (`alignment`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from netcheck.circuit.conduction import AMPLIFIERS, SERIES, TRANSISTORS, VARIABLE
from netcheck.circuit.model import Part
from netcheck.circuit.sides import pairs_by_side, side_words
from netcheck.circuit.walk import STOPS, Walks, natural_key
from netcheck.circuit.words import Words
from netcheck.physics.alignment import Alignment, Outlook
from netcheck.physics.places import Place, PlaceMap

SIDES, LEAST_COUPLES, LEAST_LIKENESS = "channel sides", "couples that make channels", "likeness of partners"
_AMPLIFIERS = AMPLIFIERS - {"comparator"}
_PACKAGES = _AMPLIFIERS | {"integrated circuit", "module", "converter", "microcontroller", "logic", "unknown"}
_SOCKETS = frozenset({"jack", "xlr", "rca"})
_PASSIVE = SERIES | {"capacitor"}
_DIRECTED = frozenset({"diode", "led", "zener", "surge diode"})
_MOST_HUB = 40  # pins on a node that is not asked for bridges


@dataclass(frozen=True, slots=True)
class Couple:
    """A part of the left channel and the one in its place in the right.

    Attributes:
        key: both part keys. left, right: part keys. same_way: they stand the same way round (parts of two ends).
    """

    key: str
    left: str
    right: str
    same_way: bool = True


@dataclass(frozen=True, slots=True)
class Meeting:
    """Where the channels meet before they should: a part from the one to the other, or a net that both are on.

    Attributes:
        key: of the part or net. part: key of the part from left to right, '' where a net is shared.
        left, right: keys of pins, of those parts of each channel that have a partner, on the net that is shared.
        nets: the net shared, or those that the part joins, left before right.
        opposite: these are in the same place of both channels.
    """

    key: str
    part: str
    left: tuple[str, ...]
    right: tuple[str, ...]
    nets: tuple[str, ...]
    opposite: bool = True


@dataclass(frozen=True, slots=True)
class Crossing:
    """Where what is left by one name or socket is right by another.

    Attributes:
        key: of the net or parts meant. nets: the one that the left channel is on, the one that the right is on.
        parts: keys of the two that lead across; none where a cable or a name does. said: the other evidence, a clause.
    """

    key: str
    nets: tuple[str, str]
    parts: tuple[str, ...]
    said: str


@dataclass(frozen=True)
class ChannelPair:
    """A stretch of circuit that is there twice, left and right.

    Attributes:
        key: where it was known from. told_by: the evidence, a clause.
        couples: parts that stand in the same place, natural order of the left ones. left_over: keys of parts that
            belong to one channel and have no partner in the other. meetings: where they meet. crossings: where they
            change places.
        left, right: nodes, in the same order.
    """

    key: str
    told_by: str
    couples: tuple[Couple, ...]
    left_over: tuple[str, ...]
    meetings: tuple[Meeting, ...]
    crossings: tuple[Crossing, ...]
    left: tuple[str, ...]
    right: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Seed:
    left: str
    right: str
    because: str
    named: bool = False  # by words, so that nothing else can be meant
    sided: bool = True  # it is known which is left; of two gangs it is not


def channels(walks: Walks, words: Words) -> tuple[ChannelPair, ...]:
    """Every pair of channels of a circuit, as far as it can be followed without a break.

    Nothing is found where nothing tells a side. A pair has an amplifier, a transistor, a potentiometer or an audio
    socket in it, and at least so many parts twice as the words of recognition ask.
    """
    places = PlaceMap(walks)
    seeds = list(_seeds(places, words))
    if not seeds:
        return ()
    whole = Alignment(Outlook(places), words.limit(LEAST_LIKENESS).value)
    begun = [seed for seed in seeds if seed.named and whole.begin(seed.left, seed.right)]
    whole.grow()
    for seed in (seed for seed in seeds if not seed.named):
        trial = whole.copy()
        if seed.left not in whole.right_of and seed.left not in whole.left_of and trial.begin(seed.left, seed.right):
            trial.crossed.clear()
            trial.grow()
            if _apart(trial, seed):
                whole = trial
                begun.append(seed)
    sided = [seed for seed in reversed(seeds) if seed.sided]
    against = {seed.right: seed.because for seed in sided if whole.right_of.get(seed.right) == seed.left}
    return tuple(_pairs(whole, begun, against, words.limit(LEAST_COUPLES).value))


# Where channels are known from


def _seeds(places: PlaceMap, words: Words) -> Iterator[_Seed]:
    """Pairs of nodes that are left and right, names before jacks before gangs before packages."""
    circuit = places.walks.circuit
    sides = side_words(words.text_words(SIDES))
    for board in circuit.boards:
        names = {net.key: net.name for net in board.nets if net.name and net.role not in STOPS and len(net.pins) > 1}
        for left, right in sorted(pairs_by_side(names, sides), key=lambda pair: natural_key(pair[0])):
            said = f"{names[left]} and {names[right]}"
            yield _Seed(places.node(left), places.node(right), f"the names {said}", named=True)
    sockets = _of_kinds(places, {"connector"})
    yield from _socket_seeds(places, sockets, sides)
    for part in sockets:
        if part.family == "jack" and len(part.by_role("tip")) == len(part.by_role("ring")) == 1:
            tip, ring = part.by_role("tip")[0], part.by_role("ring")[0]
            yield _Seed(places.node(tip.net), places.node(ring.net), f"tip and ring of {places.walks.said(part)}")
    for part in _of_kinds(places, VARIABLE):
        if len(wipers := part.by_role("wiper")) == 2:
            one, other = (places.node(pin.net) for pin in wipers)
            yield _Seed(one, other, f"the two gangs of {places.walks.said(part)}", sided=False)
    for part in _of_kinds(places, _PACKAGES):
        pins = {pin.key: pin.name for pin in part.pins if pin.name}
        for left, right in pairs_by_side(pins, sides):
            first, second = circuit.pins[left], circuit.pins[right]
            said = f"pins {first.name} and {second.name} of {places.walks.said(part)}"
            yield _Seed(places.node(first.net), places.node(second.net), said)


def _of_kinds(places: PlaceMap, kinds: Iterable[str]) -> list[Part]:
    found = (part for kind in kinds for part in places.walks.by_kind.get(kind, ()))
    return sorted(found, key=lambda part: natural_key(part.key))


def _socket_seeds(places: PlaceMap, sockets: list[Part], sides: Mapping[str, tuple[bool, str]]) -> Iterator[_Seed]:
    """Pins of the same number of two connectors whose texts or references differ in the side only."""
    by_key = {part.key: part for part in sockets}
    texts = {part.key: part.value.text for part in sockets}
    for names in (texts, {part.key: part.ref for part in sockets}):
        on_board = {key: f"{by_key[key].board}/{name}" for key, name in names.items()}
        for left, right in pairs_by_side(on_board, sides):
            one, other = by_key[left], by_key[right]
            theirs = {pin.number: pin for pin in other.pins}
            said = f"the connectors {places.walks.said(one)} and {places.walks.said(other)}"
            for pin in one.pins if len(one.pins) == len(other.pins) else ():
                if pin.number in theirs:
                    yield _Seed(places.node(pin.net), places.node(theirs[pin.number].net), said, named=True)


def _apart(found: Alignment, seed: _Seed) -> bool:
    """Whether two nodes that no name tells apart are of two channels, and not of one balanced line or one filter."""
    if found.crossed or any(True for _ in _bridges(found, _connected(found, seed.left))):
        return False
    sides = found.right_of.keys() | found.left_of.keys()
    for node in (*_connected(found, seed.left), *found.shared):
        for role, place in found.places.at.get(node, ()):
            if place.kind in _AMPLIFIERS and role in ("plus", "minus"):
                # the other input in the other channel; or both channels at an input, and the output in one of them
                wanted = ("output",) if node in found.shared else ("plus", "minus")
                there = sides if node in found.shared else found.left_of.keys()
                if any(r in wanted and r != role and n in there for r, n in place.ends):
                    return False
    return True


def _connected(found: Alignment, start: str) -> list[str]:
    """Left nodes that couples join with one, itself first; also across a net that both channels are on."""
    seen, todo = {start: None}, [start]
    while todo:
        for _, place in found.places.at.get(todo.pop(), ()):
            if place.key in found.partner:
                for _, node in place.ends:
                    if node not in seen and (node in found.right_of or node in found.shared):
                        seen[node] = None
                        todo.append(node)
    return [node for node in seen if node in found.right_of]


# What is found


def _pairs(found: Alignment, seeds: list[_Seed], against: Mapping[str, str], least: float) -> Iterator[ChannelPair]:
    told = {seed.left: seed.because for seed in reversed(seeds)}
    seen: set[str] = set()
    for seed in seeds:
        if seed.left in seen:
            continue
        nodes = _connected(found, seed.left)
        seen |= set(nodes)
        couples = _couples(found, nodes)
        if len(_coupled(found, nodes)) >= least and _audible(found, nodes):
            yield ChannelPair(
                key=f"{seed.left} + {seed.right}",
                told_by=seed.because,
                couples=couples,
                left_over=_left_over(found, nodes),
                meetings=tuple(_meetings(found, nodes)),
                crossings=tuple(_crossings(found, nodes, told, against)),
                left=tuple(nodes),
                right=tuple(found.right_of[node] for node in nodes),
            )


def _coupled(found: Alignment, nodes: list[str]) -> dict[str, tuple[Place, Place]]:
    held = (place for node in nodes for _, place in found.places.at.get(node, ()))
    keys = {place.key for place in held if place.kind != "connector"}
    return {key: found.partner[key] for key in sorted(keys & set(found.partner), key=natural_key)}


def _couples(found: Alignment, nodes: list[str]) -> tuple[Couple, ...]:
    """Couples of parts; gangs, amplifiers and pins of one part are no two parts."""
    couples: dict[tuple[str, str], Couple] = {}
    for left, right in _coupled(found, nodes).values():
        if left.part != right.part:
            way = found.same_way(left, right) if _directed(found, left) and _directed(found, right) else True
            way = way or _end_on_each_other(found, left, right)  # which is said as a meeting
            couple = Couple(f"{left.part} + {right.part}", left.part, right.part, way)
            couples.setdefault((left.part, right.part), couple)
    return tuple(couples.values())


def _directed(found: Alignment, place: Place) -> bool:
    part = found.places.walks.circuit.parts[place.part]
    return part.kind in _DIRECTED or (part.kind == "capacitor" and part.polarised is True)


def _end_on_each_other(found: Alignment, left: Place, right: Place) -> bool:
    """Whether two parts share a net that nothing else is on."""
    common = {node for _, node in left.ends} & {node for _, node in right.ends}
    return any(node in found.shared and len(found.places.at[node]) == 2 for node in common)


def _audible(found: Alignment, nodes: list[str]) -> bool:
    parts = found.places.walks.circuit.parts
    for node in nodes:
        for _, place in found.places.at.get(node, ()):
            if place.kind in _AMPLIFIERS | TRANSISTORS | VARIABLE or parts[place.part].family in _SOCKETS:
                return True
    return False


def _left_over(found: Alignment, nodes: list[str]) -> tuple[str, ...]:
    """Parts whose ends are all in one channel or on what both have, and that have no partner."""
    over: set[str] = set()
    for mine, held in ((found.right_of.keys(), nodes), (found.left_of.keys(), [found.right_of[n] for n in nodes])):
        for node in held:
            for _, place in found.places.at.get(node, ()):
                ends = {end for _, end in place.ends}
                inside = all(end in mine or found.outlook.fixed(end) is not None for end in ends)
                if inside and len(ends) > 1 and place.key not in found.taken and place.kind != "connector":
                    over.add(place.part)
    return tuple(sorted(over, key=natural_key))


def _bridges(found: Alignment, nodes: list[str]) -> Iterator[tuple[Place, str, str]]:
    """Parts of two ends from a left node to a right one."""
    right = {found.right_of[node] for node in nodes}
    for node in nodes:
        held = found.places.at.get(node, ())
        for _, place in held if len(held) <= _MOST_HUB else ():
            if place.kind in _PASSIVE and len(place.ends) == 2:
                yield from ((place, node, end) for _, end in place.ends if end in right)


def _meetings(found: Alignment, nodes: list[str]) -> Iterator[Meeting]:
    for place, left, right in sorted(_bridges(found, nodes), key=lambda bridge: natural_key(bridge[0].key)):
        yield Meeting(place.part, place.part, (), (), (left, right), found.right_of[left] == right)
    on: dict[str, list[tuple[Place, Place]]] = {}
    for pair in _coupled(found, nodes).values():
        for node in {end for _, end in pair[0].ends} & found.shared:
            on.setdefault(node, []).append(pair)
    for node in sorted(on, key=natural_key):
        ours, theirs = (tuple(dict.fromkeys(_pin_on(pair[at], node) for pair in on[node])) for at in (0, 1))
        yield Meeting(node, "", ours, theirs, (node,))


def _pin_on(place: Place, node: str) -> str:
    return next(key for key, (_, end) in zip(place.pins, place.ends, strict=True) if end == node)


def _crossings(
    found: Alignment, nodes: list[str], told: Mapping[str, str], against: Mapping[str, str]
) -> Iterator[Crossing]:
    """Nets of a pair that other evidence has on the other side, and parts by which it is joined to the other side only.

    Args:
        told: left node -> how it is known. against: left node -> what says that it is a right one.
    """
    for node in nodes:
        if node in against:
            yield Crossing(node, (node, found.right_of[node]), (), against[node])
    done: set[str] = set()
    for left, right, a, there in found.exchanged if nodes else ():
        opposite = found.left_of[there]
        key = f"{left.part} + {right.part}"
        once = natural_key(left.key) < natural_key(right.key)  # from the other side they are met the other way round
        if once and a in nodes and opposite not in nodes and key not in done:
            done.add(key)
            said = next((told[node] for node in _connected(found, opposite) if node in told), "")
            parts = tuple(dict.fromkeys((left.part, right.part)))
            yield Crossing(key, (there, opposite), parts, said)
