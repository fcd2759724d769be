"""The subjects of a rule, one after the other, nested where the rule nests them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from netcheck.circuit.model import KINDS
from netcheck.circuit.shapeparts import Match
from netcheck.language.scope import Scope
from netcheck.language.values import Lot, Unknown, unite
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.nouns_assembly import assembly_subjects
from netcheck.rulebook.nouns_coupling import couplings_of
from netcheck.rulebook.nouns_heat import heatsinks
from netcheck.rulebook.nouns_signal import paths_of
from netcheck.rulebook.nouns_ties import ground_ties
from netcheck.rulebook.rule import Rule, Subject
from netcheck.rulebook.supplies import rectified


@dataclass(frozen=True, slots=True)
class Bound:
    """One subject: the value of each name, and the reasons why it perhaps is none."""

    names: tuple[tuple[str, object], ...]
    doubt: tuple[str, ...] = ()


def of_noun(facts: Facts, noun: str) -> Sequence[object]:
    """All things that a noun stands for."""
    if noun in KINDS:
        return facts.by_kind.get(noun, ())
    match noun:
        case "part":
            return facts.parts
        case "pin":
            return [pin for part in facts.parts for pin in part.pins]
        case "net":
            return facts.nets
        case "rail" | "ground":
            return facts.nets_of(noun)
        case "amplifier":
            return facts.amplifiers
        case "supply pin":
            return facts.supply_pins
        case "control pin":
            return facts.control_pins
        case "mating":
            return facts.matings
        case "ground loop":
            return facts.ground_loops
        case "ground island":
            return facts.ground_islands
        case "channel pair":
            return facts.channels
        case "volume control":
            return facts.volume_controls
        case "ground tie":
            return ground_ties(facts)
        case "heatsink":
            return heatsinks(facts)
        case "rectified rail":
            return rectified(facts)
        case "oddity":
            return facts.oddities
        case "mains entry":
            return [entry for side in facts.mains.sides for entry in side.entries]
        case "mains side":
            return facts.mains.sides
        case "across the line":
            return facts.mains.across
        case "coupling":
            return couplings_of(facts)
        case "signal path":
            return paths_of(facts)
        case "board":
            return facts.boards
    in_assembly = assembly_subjects(facts, noun)
    return facts.matches(noun).matches if in_assembly is None else in_assembly


def subjects(rule: Rule, facts: Facts, fixed: Mapping[str, object]) -> Iterator[Bound]:
    """Every subject of a rule. fixed: names that are the same for all of them (limits, groups of kinds)."""
    yield from _nested(rule, 0, facts, fixed, Bound(()))


def _nested(rule: Rule, at: int, facts: Facts, fixed: Mapping[str, object], bound: Bound) -> Iterator[Bound]:
    subject = rule.subjects[at]
    last = at + 1 == len(rule.subjects)
    name, before, doubt = subject.name, bound.names, bound.doubt
    for value, reasons in _items(rule, subject, facts, fixed, bound):
        if at and _repeats(rule.subjects, at, before, value):
            continue
        unsure = value.unsure if isinstance(value, Match) else ()
        doubts = unite(doubt, reasons, unsure) if reasons or unsure else doubt
        deeper = Bound((*before, (name, value)), doubts)
        if last:
            yield deeper
        else:
            yield from _nested(rule, at + 1, facts, fixed, deeper)


def _items(
    rule: Rule, subject: Subject, facts: Facts, fixed: Mapping[str, object], bound: Bound
) -> Iterator[tuple[object, tuple[str, ...]]]:
    if subject.items is None:
        yield from ((thing, ()) for thing in of_noun(facts, subject.noun))
        return
    scope = Scope(facts, {**fixed, **dict(bound.names)}, {name: let.run for name, let in rule.let.items()})
    found = subject.items.run(scope)
    if isinstance(found, Unknown):
        yield found, found.reasons
    elif isinstance(found, Lot):
        yield from ((member, ()) for member in found.members)
        yield from ((perhaps.member, perhaps.reasons) for perhaps in found.perhaps)


def _repeats(wanted: Sequence[Subject], at: int, bound: tuple[tuple[str, object], ...], value: object) -> bool:
    """Two names over the same list: each unordered pair once, never a thing with itself."""
    key = getattr(value, "key", None)
    own = wanted[at].items
    for earlier, (_, other) in zip(wanted[:at], bound, strict=True):
        other_items = earlier.items
        same_noun = bool(earlier.noun) and earlier.noun == wanted[at].noun
        same_items = own is not None and other_items is not None and own.source == other_items.source
        same_list = same_noun or same_items
        if same_list and key is not None and getattr(other, "key", "") >= key:
            return True
    return False
