"""The vocabulary of the rule language: nouns with their attributes, functions, how things are named in sentences."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from netcheck.circuit.assemble import Sink
from netcheck.circuit.model import Amplifier, Board, Net, Part, Pin, Record
from netcheck.circuit.shapeparts import Match
from netcheck.circuit.words import Words
from netcheck.ground.names import spoken_list
from netcheck.language.types import Attribute, Function, Thing, Type
from netcheck.language.values import Lot
from netcheck.physics.conductors import Conductor, GroundLoop, Island, Tie
from netcheck.physics.coupling import Coupling
from netcheck.physics.mains import AcrossLine, MainsEntry, MainsSide
from netcheck.physics.mating import Contact, Mating
from netcheck.physics.ports import SignalPath
from netcheck.physics.rectifying_rails import Rectified
from netcheck.rulebook.facts import ControlPin, Facts, Oddity, SupplyPin
from netcheck.rulebook.functions import FUNCTIONS, matches_function
from netcheck.rulebook.functions_amplifier import AMPLIFIER_FUNCTIONS
from netcheck.rulebook.functions_output import OUTPUT_FUNCTIONS
from netcheck.rulebook.functions_signal import SIGNAL_FUNCTIONS
from netcheck.rulebook.functions_supply import SUPPLY_FUNCTIONS
from netcheck.rulebook.functions_text import TEXT_FUNCTIONS
from netcheck.rulebook.nouns import NOUN_ATTRIBUTES, amplifier_text, part_attributes
from netcheck.rulebook.nouns_assembly import assembly_text
from netcheck.rulebook.nouns_channels import channel_text
from netcheck.rulebook.nouns_coupling import COUPLING_FUNCTIONS, coupling_text
from netcheck.rulebook.nouns_heat import heatsink_text
from netcheck.rulebook.nouns_mains import MAINS_FUNCTIONS
from netcheck.rulebook.nouns_rings import RING_FUNCTIONS
from netcheck.rulebook.nouns_signal import path_text
from netcheck.rulebook.nouns_supply import rectified_text
from netcheck.rulebook.nouns_ties import tie_text
from netcheck.rulebook.nouns_volume import VOLUME_FUNCTIONS, volume_text
from netcheck.rulebook.nouns_wiring import WIRING_FUNCTIONS

# Nouns that `for each` can take beside kinds of parts and shapes, and the noun whose attributes they have.
NOUNS: dict[str, str] = {
    "part": "part",
    "pin": "pin",
    "net": "net",
    "rail": "net",
    "ground": "net",
    "amplifier": "amplifier",
    "supply pin": "supply pin",
    "control pin": "control pin",
    "mating": "mating",
    "ground loop": "ground loop",
    "ground island": "ground island",
    "ground tie": "ground tie",
    "heatsink": "heatsink",
    "rectified rail": "rectified rail",
    "oddity": "oddity",
    "board": "board",
    "cable": "cable",
    "wire": "wire",
    "signal input": "signal input",
    "signal output": "signal output",
    "signal path": "signal path",
    "coupling": "coupling",
    "assembly": "assembly",
    "mains entry": "mains entry",
    "mains side": "mains side",
    "across the line": "across the line",
    "channel pair": "channel pair",
    "volume control": "volume control",
}


@dataclass(frozen=True, eq=False)
class RuleVocabulary:
    """Nouns and functions of this rule book; shapes add nouns of their own, 'match NAME'."""

    shape_names: Mapping[str, Mapping[str, Type]] = field(default_factory=dict)

    @cached_property
    def functions(self) -> Mapping[str, Function]:
        """All functions, by name."""
        extra = {**MAINS_FUNCTIONS, **WIRING_FUNCTIONS, **SUPPLY_FUNCTIONS, **RING_FUNCTIONS}
        extra |= {**SIGNAL_FUNCTIONS, **COUPLING_FUNCTIONS}
        extra |= AMPLIFIER_FUNCTIONS
        extra |= VOLUME_FUNCTIONS
        extra |= OUTPUT_FUNCTIONS
        extra |= TEXT_FUNCTIONS
        return {**FUNCTIONS, **extra, "matches": matches_function(self.shape_names)}

    def attributes(self, thing: Thing) -> Mapping[str, Attribute]:
        """The attributes of a noun."""
        if thing.noun == "part":
            return part_attributes(thing.kinds)
        if thing.noun.startswith("match "):
            names = self.shape_names.get(thing.noun.removeprefix("match "), {})
            return {name: Attribute(kind, _name_of_match(name)) for name, kind in names.items()}
        return NOUN_ATTRIBUTES.get(thing.noun, {})

    def key_of(self, value: object) -> str | None:
        """The key of an object of the circuit."""
        key = getattr(value, "key", None)
        if isinstance(key, str):
            return key
        return value.name if isinstance(value, Board) else None

    def shown(self, facts: object, value: object) -> str:
        """How an object names itself in a sentence."""
        assert isinstance(facts, Facts)
        return name_of(facts, value)


def _name_of_match(name: str) -> Callable[[object, object], object]:
    def get(facts: object, match: object) -> object:
        assert isinstance(match, Match)
        return match.form if name == "form" else match.names.get(name)

    return get


def named_groups(words: Words) -> dict[str, frozenset[str]]:
    """The named groups of kinds as expressions write them: `dc`, `linear_amplifiers`."""
    return {name.replace(" ", "_"): group.kinds for name, group in words.groups.items()}


def name_of(facts: Facts, value: object) -> str:
    """How an object of the circuit names itself."""
    circuit = facts.circuit
    if isinstance(value, Part):
        return facts.text_of(value)
    if isinstance(value, Pin):
        return facts.pin_text(value)
    if isinstance(value, Net):
        return facts.net_text(value)
    if isinstance(value, Amplifier):
        return amplifier_text(facts, value)
    if isinstance(value, SupplyPin | ControlPin):
        return facts.pin_text(value.pin)
    if isinstance(value, Mating):
        ends = [facts.text_of(circuit.parts[key]) for key in (value.near, value.far) if key is not None]
        return " and ".join(ends)
    if isinstance(value, Contact):
        return _contact_text(facts, value)
    if (text := assembly_text(facts, value)) is not None:
        return text
    if (text := channel_text(facts, value) or volume_text(facts, value)) is not None:
        return text
    if isinstance(value, Conductor):
        part = circuit.parts.get(value.key)
        return facts.text_of(part) if part is not None else value.cable or value.key
    if isinstance(value, GroundLoop):
        return spoken_list([name_of(facts, conductor) for conductor in value.conductors])
    if isinstance(value, Island):
        return spoken_list([name_of(facts, circuit.nets[key]) for key in value.grounds])
    if isinstance(value, Tie):
        return tie_text(facts, value)
    if isinstance(value, Coupling):
        return coupling_text(facts, value)
    if isinstance(value, SignalPath):
        return path_text(facts, value)
    if isinstance(value, Sink):
        return heatsink_text(facts, value)
    if isinstance(value, Rectified):
        return rectified_text(facts, value)
    if isinstance(value, Match):
        return spoken_list([name_of(facts, thing) for thing in members(facts, value)])
    if isinstance(value, MainsEntry):
        return facts.text_of(circuit.parts[value.key])
    if isinstance(value, MainsSide):
        return f"the mains side of {facts.text_of(circuit.parts[value.key])}"
    if isinstance(value, AcrossLine):
        return spoken_list([facts.text_of(part) for part in value.capacitors])
    if isinstance(value, Oddity):
        return value.pin
    if isinstance(value, Board | Record):
        return value.name
    return str(value)


def _contact_text(facts: Facts, contact: Contact) -> str:
    pin = facts.circuit.pins[contact.pin]
    here = facts.net_text(facts.circuit.nets[contact.here])
    there = facts.net_text(facts.circuit.nets[contact.there]) if contact.there is not None else "nothing"
    return f"{here} with {there} (pin {pin.number})"


def members(facts: Facts, match: Match) -> Sequence[object]:
    """The single parts and lists of parts of a match that tell it apart, in the order of its shape."""
    found: list[object] = []
    for name in facts.shapes[match.shape].known_by:
        value = match.names.get(name)
        for thing in value.members if isinstance(value, Lot) else (value,):
            if isinstance(thing, Match):
                found.extend(members(facts, thing))
            elif thing is not None:
                found.append(thing)
    return tuple({thing.key if hasattr(thing, "key") else str(thing): thing for thing in found}.values())
