"""Ties between grounds as rules see them."""

from __future__ import annotations

from netcheck.circuit.model import Net
from netcheck.language.types import Attribute, ListOf, Thing
from netcheck.language.values import Lot
from netcheck.physics.conductors import Tie, ties
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.signatures import attr


def _tie_nets(facts: Facts, tie: Tie) -> tuple[Net, ...]:
    return tuple(facts.circuit.nets[key] for key in tie.grounds if key in facts.circuit.nets)


TIE_ATTRIBUTES: dict[str, Attribute] = {
    "grounds": attr(ListOf(Thing("net")), lambda facts, tie: Lot(_tie_nets(facts, tie))),
    "conductors": attr(ListOf(Thing("conductor")), lambda facts, tie: Lot(tie.conductors)),
}


def ground_ties(facts: Facts) -> tuple[Tie, ...]:
    """Two grounds and all that joins them straight, on the boards."""
    return ties(facts.circuit)


def tie_text(facts: Facts, tie: Tie) -> str:
    """A tie as it is named in sentences: GNDA and GNDD."""
    return " and ".join(facts.net_text(net) for net in _tie_nets(facts, tie)) or tie.key
