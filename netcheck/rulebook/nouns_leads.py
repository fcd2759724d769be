"""What rules can ask of the wires of a lead: their copper, and the current of the rail that they bring."""

from __future__ import annotations

from netcheck.circuit.assemble import Wire
from netcheck.ground.units import AMPERE, PLAIN, SQUARE_METRE
from netcheck.language.types import Attribute, Number
from netcheck.language.values import Unknown
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.signatures import attr


def _area(facts: Facts, wire: Wire) -> object:
    if wire.area is not None:
        return wire.area
    lead = facts.leads.get(wire.cable)
    what = f"the {lead.name}" if lead is not None else f"the wire from {wire.key.split('/', 1)[1]}"
    return Unknown((f"the gauge of {what} is not given",), low=0.0)


def _beside(facts: Facts, wire: Wire) -> int:
    """How many wires of its lead join the same two nets, itself among them."""
    lead = facts.leads.get(wire.cable)
    alike = (one for one in lead.wires if one.kind == wire.kind and set(one.nets) == set(wire.nets)) if lead else ()
    return max(1, sum(1 for _ in alike))


def _amps(facts: Facts, wire: Wire) -> object:
    """The current of the rail through this wire and those beside it, with music; nothing where it brings no rail."""
    if facts.assembled is None or any(facts.circuit.nets[net].role != "rail" for net in wire.nets):
        return None
    from netcheck.physics.leadcurrents import brought
    from netcheck.rulebook.supplies import supplies

    found = supplies(facts)
    return brought(found.currents, *wire.nets, facts.assembled.joined, found.share)


LEAD_WIRE_ATTRIBUTES: dict[str, Attribute] = {
    "area": attr(Number(SQUARE_METRE), _area),
    "beside": attr(Number(PLAIN), _beside),
    "amps": attr(Number(AMPERE), _amps),
}
