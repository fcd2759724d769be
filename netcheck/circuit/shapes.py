"""Small circuits recognised in a large one: every place that has a shape, each told once.

Three rules say which ways to fit are matches:

1. All ways are found; different names never hold the same part.
2. Ways that agree in what the shape is one per are one match; names with `many` are lists.
3. Among ways with the same parts, or that want the same `takes`, the one with most members stays, then with fewest
   parts passed, then with most pins of other parts on its nets. Where that does not decide, the match is unsure and
   says between what. Two ways that hold the same parts and nets in exchanged places, or parts in parallel between the
   same nets, are no ambiguity: the first in natural order stays.

A shape that others build on lends them its matches when it is one per something or takes something, else all its
ways: which of them is meant is then for the larger shape to tell.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

from netcheck.circuit.model import Amplifier, Net, Part, Pin
from netcheck.circuit.shapejoin import Budget, Join, Row, Thing, Way
from netcheck.circuit.shapeparts import (
    BlindSpot,
    Condition,
    Evaluator,
    Form,
    Found,
    Match,
    NetSlot,
    PartSlot,
    Passes,
    Shape,
    Tie,
    has,
)
from netcheck.circuit.walk import Walks, natural_key
from netcheck.language.values import Lot, Perhaps, Unknown, unite

__all__ = [
    "BlindSpot",
    "Condition",
    "Evaluator",
    "Form",
    "Found",
    "Match",
    "NetSlot",
    "PartSlot",
    "Passes",
    "Shape",
    "Tie",
    "find_matches",
]

# Work that one shape may take: some for itself, and some for each part of the circuit.
STEPS, STEPS_A_PART = 100_000, 20
_STEPS_A_MATCH = 5

# Parts that have amplifiers as their units.
AMPLIFIER_KINDS = frozenset({"opamp", "comparator", "buffer"})

Rank = tuple[int, int, int]


def find_matches(
    shape: Shape, walks: Walks, matches_of: Callable[[str], Found], most_steps: int | None = None
) -> Found:
    """Everything in a circuit that has a shape.

    Args:
        shape: what is looked for. walks: the circuit. matches_of: what was found of a shape that this one builds on.
        most_steps: how much work it may take; by default in proportion to the circuit.

    Returns:
        The same whatever order the circuit is listed in.

    Raises:
        TooManySteps: when the work is not done within the bound.
    """
    budget = Budget(most_steps if most_steps is not None else STEPS + STEPS_A_PART * len(walks.circuit.parts))
    nested = {slot.shape: matches_of(slot.shape) for form in shape.forms for slot in form.parts if slot.shape}
    lent = {name: found.ways for name, found in nested.items()}
    ways: dict[Match, None] = {}
    for form in shape.forms:
        for way in Join(form, shape.passes, shape.one_per, walks, lent, budget).ways():
            match = _match(shape, way, walks, budget)
            if match is not None:
                ways.setdefault(match)
    ordered = sorted(ways, key=_order)
    places = {match: at for at, match in enumerate(ordered)}
    matches = tuple(sorted(_best(shape, ordered, walks), key=places.__getitem__))
    lends_all = not shape.one_per and not shape.takes
    return Found(matches, _blind(shape, walks, nested), tuple(ordered) if lends_all else matches)


def _order(match: Match) -> tuple[object, ...]:
    nets = tuple((name, tuple(map(natural_key, keys))) for name, keys in match.binding)
    return natural_key(match.key), match.form, nets


# From a way to a match


def _match(shape: Shape, way: Way, walks: Walks, budget: Budget) -> Match | None:
    """The match of a way; None when a condition says that it is none."""
    budget.step(_STEPS_A_MATCH * (1 + len(shape.where)))
    way = replace(way, lists={name: _best_rows(rows, walks) for name, rows in way.lists.items()})
    names, unsure = _names(way, walks)
    for name, offer in (*way.form.offers, *shape.offers):
        names[name] = offer(MappingProxyType(names))
    for condition in shape.where:
        answer = condition(MappingProxyType(names))
        if isinstance(answer, Unknown):
            unsure = unite(unsure, answer.reasons)
        elif not answer:
            return None
    rows = [row for members in way.lists.values() for row in members]
    things = _things([*way.things.values(), *(row.thing for row in rows)])
    known_by = shape.known_by or tuple(slot.name for slot in way.form.parts if not slot.many)
    passed = {part.key: part for fit in (way.fit, *(row.fit for row in rows)) for part in fit.passed}
    return Match(
        shape.name,
        way.form.name,
        MappingProxyType(names),
        unsure,
        tuple(passed[key] for key in sorted(passed, key=natural_key)),
        things,
        " + ".join(sorted({key for name in known_by for key in _keys_of(names.get(name))}, key=natural_key)),
        known_by,
        _binding(way),
        frozenset(hop for fit in (way.fit, *(row.fit for row in rows)) for hop in fit.hops),
    )


def _names(way: Way, walks: Walks) -> tuple[dict[str, object], tuple[str, ...]]:
    """What the names of a form stand for in a way, and why that is in doubt."""
    nets = walks.circuit.nets
    names: dict[str, object] = {"form": way.form.name, **way.things}
    names |= {name: nets[key] for name, key in way.fit.nets.items()}
    unsure = way.fit.unsure
    for slot, rows in way.lists.items():
        names[slot], doubt = _lot(rows)
        unsure = unite(unsure, doubt)
        for name in dict.fromkeys(name for row in rows for name in row.fit.nets):
            keys = {row.fit.nets[name] for row in rows}
            names[name] = Lot(tuple(nets[key] for key in sorted(keys, key=natural_key)))
    return names, unsure


def _best_rows(rows: Sequence[Row], walks: Walks) -> tuple[Row, ...]:
    """Of matches in a list that hold the same parts, the best; in doubt where two are equally good."""
    found: dict[object, tuple[Rank, Row]] = {}
    others: list[Row] = []
    for row in sorted(rows, key=lambda row: _thing_order(row.thing)):
        thing = row.thing
        if not isinstance(thing, Match):
            others.append(row)
            continue
        mark, rank = tuple(one.key for one in thing.things), _rank(thing, walks)
        held = found.get(mark)
        if held is None or rank < held[0]:
            found[mark] = rank, row
        elif rank == held[0] and thing != held[1].thing:
            assert isinstance(held[1].thing, Match)
            doubt = _in_doubt(held[1].thing, thing, walks).unsure
            found[mark] = rank, Row(held[1].thing, replace(held[1].fit, unsure=unite(held[1].fit.unsure, doubt)))
    return (*others, *(row for _, row in found.values()))


def _lot(rows: Sequence[Row]) -> tuple[Lot, tuple[str, ...]]:
    """Members of a list; those in doubt only perhaps. With no sure one the whole is in doubt."""
    sure: dict[object, Thing] = {}
    perhaps: dict[object, tuple[Thing, tuple[str, ...]]] = {}
    for row in sorted(rows, key=lambda row: (_thing_order(row.thing), len(row.fit.unsure), row.fit.unsure)):
        mark = row.thing if isinstance(row.thing, Match) else row.thing.key
        if not row.fit.unsure:
            sure.setdefault(mark, row.thing)
        elif mark not in sure:
            perhaps.setdefault(mark, (row.thing, row.fit.unsure))
    doubtful = tuple(Perhaps(thing, reasons) for mark, (thing, reasons) in perhaps.items() if mark not in sure)
    doubt = () if sure else unite(*(one.reasons for one in doubtful))
    return Lot(tuple(sure.values()), doubtful), doubt


def _thing_order(thing: Thing) -> tuple[object, ...]:
    return _order(thing) if isinstance(thing, Match) else (natural_key(thing.key),)


def _things(held: Iterable[Thing]) -> tuple[Part | Amplifier, ...]:
    found: dict[str, Part | Amplifier] = {}
    for thing in held:
        for one in thing.things if isinstance(thing, Match) else (thing,):
            found[one.key] = one
    return tuple(found[key] for key in sorted(found, key=natural_key))


def _keys_of(value: object) -> Iterator[str]:
    if isinstance(value, Match):
        yield from (value.key,) if value.key else (thing.key for thing in value.things)
    elif isinstance(value, Lot):
        for member in (*value.members, *(one.member for one in value.perhaps)):
            yield from _keys_of(member)
    elif isinstance(value, Part | Amplifier | Net | Pin):
        yield value.key


def _binding(way: Way) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """What tells one way from another: each name with the keys that it stands for."""

    def marks(thing: Thing) -> tuple[str, ...]:
        if not isinstance(thing, Match):
            return (thing.key,)
        return (thing.form, *(key for _, keys in thing.binding for key in keys))

    found = {name: marks(thing) for name, thing in way.things.items()}
    found |= {name: (key,) for name, key in way.fit.nets.items()}
    for name, rows in way.lists.items():
        members = sorted({marks(row.thing) for row in rows}, key=lambda keys: tuple(map(natural_key, keys)))
        found[name] = tuple(key for member in members for key in member)
    return tuple(sorted(found.items()))


# Which ways stay


def _best(shape: Shape, ways: Sequence[Match], walks: Walks) -> Iterator[Match]:
    """Of ways that want the same things, the best; unsure where two are equally good."""
    ranked = sorted(((_rank(match, walks), match) for match in ways), key=lambda pair: pair[0])
    holders: dict[tuple[object, ...], int] = {}
    kept: list[tuple[Rank, Match]] = []
    for rank, match in ranked:
        wants = _wants(shape, match)
        rivals = sorted({holders[want] for want in wants if want in holders})
        for at in rivals:
            rival_rank, rival = kept[at]
            if rival_rank == rank and not _same_in_other_places(rival, match):
                kept[at] = rank, _in_doubt(rival, match, walks)
        if not rivals:
            holders.update(dict.fromkeys(wants, len(kept)))
            kept.append((rank, match))
    return (match for _, match in kept)


def _rank(match: Match, walks: Walks) -> Rank:
    """Most members, then fewest parts passed, then most pins of other parts on the nets."""
    held = {thing.part if isinstance(thing, Amplifier) else thing.key for thing in match.things}
    held |= {part.key for part in match.passed}
    nets = {net.key for net in _nets(match)}
    own = sum(1 for key in held for pin in walks.circuit.parts[key].pins if pin.net in nets)
    return -len(match.things), len(match.hops), own - sum(map(walks.count_on, nets))


def _nets(match: Match) -> Iterator[Net]:
    for name, _ in match.binding:
        value = match.names[name]
        for one in value.members if isinstance(value, Lot) else (value,):
            if isinstance(one, Net):
                yield one


def _wants(shape: Shape, match: Match) -> set[tuple[object, ...]]:
    """What no other match may have: its set of parts, what it is one per, what it takes."""
    wants: set[tuple[object, ...]] = {("parts", *(thing.key for thing in match.things))}
    if shape.one_per:
        wants.add(("one per", *(tuple(sorted(_keys_of(match.names.get(name)))) for name in shape.one_per)))
    for name in shape.takes:
        wants |= {("takes", key) for key in _taken(match, name)}
    return wants


def _taken(match: Match, name: str) -> Iterator[str]:
    first, _, rest = name.partition(".")
    value = match.names.get(first)
    members = (*value.members, *(one.member for one in value.perhaps)) if isinstance(value, Lot) else (value,)
    for member in members:
        if rest and isinstance(member, Match):
            yield from _taken(member, rest)
        else:
            yield from _keys_of(member)


def _same_in_other_places(one: Match, other: Match) -> bool:
    """The same parts and nets under exchanged names, or other parts between the very same nets."""
    if one.form != other.form:
        return False
    mine, yours = ({net.key for net in _nets(match)} for match in (one, other))
    if {thing.key for thing in one.things} == {thing.key for thing in other.things}:
        return mine == yours
    return _net_binding(one) == _net_binding(other)


def _net_binding(match: Match) -> list[tuple[str, tuple[str, ...]]]:
    return [(name, keys) for name, keys in match.binding if isinstance(match.names[name], Net)]


def _in_doubt(kept: Match, rival: Match, walks: Walks) -> Match:
    """The match that stays, saying what else it might be."""
    theirs = dict(rival.binding)
    said = ", ".join(dict.fromkeys(_said(thing, walks) for thing in kept.things))
    reasons = [
        f"whether the {name.replace('_', ' ')} of {said} is {_net_said(net, walks)} or {_net_said(other, walks)}"
        for name, keys in kept.binding
        if isinstance(net := kept.names[name], Net)
        and theirs.get(name, keys) != keys
        and isinstance(other := rival.names[name], Net)
    ]
    if not reasons and kept.form != rival.form:
        reasons = [f"whether {said} is drawn as '{kept.form}' or as '{rival.form}'"]
    if not reasons:
        others = ", ".join(dict.fromkeys(_said(thing, walks) for thing in rival.things))
        reasons = [f"whether it is {said} or {others}"]
    doubt = tuple(f"{reason} cannot be told" for reason in reasons)
    return replace(kept, unsure=unite(kept.unsure, doubt))


def _said(thing: Part | Amplifier, walks: Walks) -> str:
    part = walks.circuit.parts[thing.part] if isinstance(thing, Amplifier) else thing
    return walks.said(part) + (thing.unit if isinstance(thing, Amplifier) else "")


def _net_said(net: Net, walks: Walks) -> str:
    if net.name:
        return net.name
    parts = [walks.said(part) for part in walks.parts_on(net.key)]
    return f"the net of {', '.join(parts[:3])}" if parts else "a net without a name"


# What could not be looked at


def _blind(shape: Shape, walks: Walks, nested: Mapping[str, Found]) -> tuple[BlindSpot, ...]:
    """Parts of a wanted kind whose pins are not known well enough, of forms that could be filled at all."""
    found: dict[str, BlindSpot] = {}
    for form in shape.forms:
        words = frozenset({("form", form.name), *_words_of(form)})
        for spot in _blind_of(form, walks, nested):
            known = found[spot.part].words if spot.part in found else frozenset()
            found[spot.part] = replace(found.get(spot.part, spot), words=known | frozenset({words}))
    return tuple(found[key] for key in sorted(found, key=natural_key))


def _words_of(form: Form) -> Iterator[tuple[str, str]]:
    """What a form offers as a word, whatever fills it."""
    for name, offer in form.offers:
        with contextlib.suppress(Exception):
            if isinstance(word := offer(MappingProxyType({})), str):
                yield name, word


def _blind_of(form: Form, walks: Walks, nested: Mapping[str, Found]) -> list[BlindSpot]:
    """Blind spots of one form; none when even with them some place stays empty."""
    spots: dict[str, BlindSpot] = {}
    empty = 0
    for slot in form.parts:
        if slot.shape is not None:
            mine = [spot for spot in nested[slot.shape].blind if _may_have(spot, slot)]
            sure = any(has(match, slot.equals) for match in nested[slot.shape].ways)
        else:
            roles = dict.fromkeys(tie.role.replace("_", " ") for tie in form.ties if tie.part == slot.name and tie.role)
            mine = list(_blind_in(slot, tuple(roles), walks))
            blind = {spot.part for spot in mine}
            sure = any(part.key not in blind for kind in slot.kinds for part in walks.by_kind.get(kind, ()))
            sure = sure or ("amplifier" in slot.kinds and any(one.part not in blind for one in walks.amplifiers))
        if not sure and not mine:
            return []
        empty += not sure
        for spot in mine:
            spots.setdefault(spot.part, spot)
    return list(spots.values()) if len(spots) >= empty else []


def _may_have(spot: BlindSpot, slot: PartSlot) -> bool:
    """Whether some form that a blind part may fill has the words that a place asks for."""
    asked = dict(slot.equals)
    return any(all(asked.get(name, word) == word for name, word in words) for words in spot.words)


def _blind_in(slot: PartSlot, roles: Sequence[str], walks: Walks) -> Iterator[BlindSpot]:
    for kind in sorted(slot.kinds):
        for part in walks.by_kind.get(kind, ()):
            missing = next((role for role in roles if not part.by_role(role)), None)
            if missing is not None and _unreadable(part):
                yield _spot(part, missing, walks)
    if "amplifier" in slot.kinds and roles:
        with_units = {amplifier.part for amplifier in walks.amplifiers}
        for kind in sorted(AMPLIFIER_KINDS):
            for part in walks.by_kind.get(kind, ()):
                if part.key not in with_units and _unreadable(part):
                    yield _spot(part, roles[0], walks)
        for amplifier in walks.amplifiers:
            part = walks.circuit.parts[amplifier.part]
            if amplifier.kind not in AMPLIFIER_KINDS:
                continue
            for role in roles:
                absent = getattr(amplifier, role.replace(" ", "_"), "") is None and role not in amplifier.missing
                if absent and _unreadable(part):
                    yield _spot(part, role, walks)
                    break


def _unreadable(part: Part) -> bool:
    return any(not pin.role for pin in part.pins)


def _spot(part: Part, role: str, walks: Walks) -> BlindSpot:
    return BlindSpot(part.key, role, f"the pins of {walks.said(part)} are not known: which is its {role}?")
