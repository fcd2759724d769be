"""The two channels of a circuit as rules see them."""

from __future__ import annotations

from netcheck.language.types import Attribute, ListOf, Text, Thing, YesNo
from netcheck.language.values import Lot
from netcheck.physics.channels import ChannelPair, Couple, Crossing, Meeting
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.signatures import attr

PART, PIN, NET = Thing("part"), Thing("pin"), Thing("net")


def _pins(facts: Facts, keys: tuple[str, ...]) -> Lot:
    return Lot(tuple(facts.circuit.pins[key] for key in keys))


def _parts(facts: Facts, keys: tuple[str, ...]) -> Lot:
    return Lot(tuple(facts.circuit.parts[key] for key in keys))


CHANNEL_NOUNS: dict[str, dict[str, Attribute]] = {
    "channel pair": {
        "couples": attr(ListOf(Thing("couple")), lambda facts, pair: Lot(pair.couples)),
        "left_over": attr(ListOf(PART), lambda facts, pair: _parts(facts, pair.left_over)),
        "meetings": attr(ListOf(Thing("meeting")), lambda facts, pair: Lot(pair.meetings)),
        "crossings": attr(ListOf(Thing("crossing")), lambda facts, pair: Lot(pair.crossings)),
        "told_by": attr(Text(), lambda facts, pair: pair.told_by),
    },
    "couple": {
        "left": attr(PART, lambda facts, couple: facts.circuit.parts[couple.left]),
        "right": attr(PART, lambda facts, couple: facts.circuit.parts[couple.right]),
        "same_way": attr(YesNo(), lambda facts, couple: couple.same_way),
    },
    "meeting": {
        "part": attr(PART, lambda facts, meeting: facts.circuit.parts.get(meeting.part)),
        "nets": attr(ListOf(NET), lambda facts, meeting: Lot(tuple(facts.circuit.nets[key] for key in meeting.nets))),
        "left": attr(ListOf(PIN), lambda facts, meeting: _pins(facts, meeting.left)),
        "right": attr(ListOf(PIN), lambda facts, meeting: _pins(facts, meeting.right)),
        "opposite": attr(YesNo(), lambda facts, meeting: meeting.opposite),
    },
    "crossing": {
        "nets": attr(ListOf(NET), lambda facts, crossing: Lot(tuple(facts.circuit.nets[key] for key in crossing.nets))),
        "parts": attr(ListOf(PART), lambda facts, crossing: _parts(facts, crossing.parts)),
        "said": attr(Text(), lambda facts, crossing: crossing.said),
    },
}


def channel_text(facts: Facts, value: object) -> str | None:
    """How channels, and what is in them, name themselves: R101 and R201; None for other things."""
    circuit = facts.circuit
    if isinstance(value, ChannelPair):
        left, right = (facts.net_text(circuit.nets[key]) for key in value.key.split(" + "))
        return f"the channels of {left} and {right}"
    if isinstance(value, Couple):
        left, right = (facts.text_of(circuit.parts[key]) for key in (value.left, value.right))
        return f"{left} and {right}"
    if isinstance(value, Crossing):
        parts = [facts.text_of(circuit.parts[key]) for key in value.parts]
        return " and ".join(parts or [facts.net_text(circuit.nets[value.nets[0]])])
    if isinstance(value, Meeting):
        part = circuit.parts.get(value.part)
        return facts.text_of(part) if part is not None else facts.net_text(circuit.nets[value.nets[0]])
    return None
