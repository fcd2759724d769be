"""What makes a finding the same finding when the file is written again in another order.

The rule and the keys of the things it is known by; never a net code, line, order, number, count, or the name of a net
that has none.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

from netcheck.circuit.model import Part
from netcheck.circuit.shapeparts import Match
from netcheck.language.values import Lot
from netcheck.physics.channels import ChannelPair, Couple, Crossing
from netcheck.physics.mains import AcrossLine
from netcheck.physics.ports import SignalPath
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.nouns_signal import keys_of_path
from netcheck.rulebook.vocabulary import members

_LETTERS = "abcdefghijklmnopqrstuvwxyz234567"
_PAIRS = [one + other for one in _LETTERS for other in _LETTERS]


def keys_of(facts: Facts, value: object) -> tuple[str, ...]:
    """The keys that tell a thing apart, in the order of its own members."""
    if isinstance(value, Part):  # what is asked most often
        return (value.key,)
    if isinstance(value, Match):
        return tuple(key for thing in members(facts, value) for key in keys_of(facts, thing)) or (value.key,)
    if isinstance(value, AcrossLine):
        return tuple(part.key for part in value.capacitors)
    if isinstance(value, Couple | ChannelPair | Crossing):
        return tuple(value.key.split(" + "))
    if isinstance(value, SignalPath):
        return keys_of_path(value)
    if isinstance(value, Lot):
        return tuple(key for member in value.members for key in keys_of(facts, member))
    key = getattr(value, "key", None) or getattr(value, "name", None)
    return (key,) if isinstance(key, str) else ()


def identity(rule: str, keys: Iterable[str]) -> str:
    """Eight letters from a rule's name and sorted keys.

    >>> identity("supply/rail-fed", ["amp/net/+15V"]) == identity("supply/rail-fed", ["amp/net/+15V"])
    True
    """
    text = "\n".join([rule, *sorted(set(keys))])
    digest = hashlib.sha256(text.encode("utf-8", "surrogatepass")).digest()
    bits = int.from_bytes(digest[:5], "big")  # five letters of eight bits are eight of five, or four of ten
    return "".join([_PAIRS[bits >> shift & 1023] for shift in (30, 20, 10, 0)])
