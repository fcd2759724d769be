"""Heatsinks as rules see them: what a part is mounted on, by what the assembly file tells."""

from __future__ import annotations

from netcheck.circuit.assemble import Sink
from netcheck.circuit.model import Part
from netcheck.ground.names import spoken_list
from netcheck.ground.units import KELVIN_PER_WATT
from netcheck.language.types import Attribute, ListOf, Number, Thing
from netcheck.language.values import Lot, Unknown
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.signatures import attr


def heatsinks(facts: Facts) -> tuple[Sink, ...]:
    """The heatsinks that the assembly file tells of."""
    return facts.assembled.sinks if facts.assembled is not None else ()


def heatsink_text(facts: Facts, sink: Sink) -> str:
    """A heatsink as it is named in sentences: the heatsink of Q1 and Q2."""
    return f"the heatsink of {spoken_list([facts.text_of(part) for part in _parts(facts, sink.parts)])}"


def _parts(facts: Facts, keys: tuple[str, ...]) -> list[Part]:
    return [facts.circuit.parts[key] for key in keys if key in facts.circuit.parts]


def heatsink_of(facts: Facts, part: Part) -> object:
    """What a part is on: nothing where heatsinks are told of and it is on none; unknown where none is told of."""
    for sink in heatsinks(facts):
        if part.key in sink.parts:
            return sink
    if heatsinks(facts):
        return None
    return Unknown((f"the heatsink of {facts.text_of(part)} is not given",))


def _to_air(facts: Facts, sink: Sink) -> object:
    if sink.to_air is None:
        return Unknown((f"the thermal resistance of {heatsink_text(facts, sink)} is not given",), low=0.0)
    return sink.to_air


HEATSINK_ATTRIBUTES: dict[str, Attribute] = {
    "parts": attr(ListOf(Thing("part")), lambda facts, sink: Lot(tuple(_parts(facts, sink.parts)))),
    "to_air": attr(Number(KELVIN_PER_WATT), _to_air),
    "insulated": attr(ListOf(Thing("part")), lambda facts, sink: Lot(tuple(_parts(facts, sink.insulated)))),
}
HEATSINK_OF_PART: dict[str, Attribute] = {"heatsink": attr(Thing("heatsink"), heatsink_of)}
