"""The nouns of the rule language and what can be asked of each: one table a noun.

Every entry gives the static type of an attribute and how it is had. What is not known says what is missing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from netcheck.circuit.model import KINDS, NET_ROLES, PIN_ROLES, Amplifier, Net, Part, Pin
from netcheck.circuit.partbook import FIELDS
from netcheck.ground.quantities import read_part_value
from netcheck.ground.units import AMPERE, EURO, FARAD, HENRY, METRE, OHM, PLAIN, VOLT, WATT
from netcheck.language.types import Attribute, ListOf, Number, Text, Thing, Type, Word, YesNo
from netcheck.language.values import Lot, Unknown
from netcheck.physics.bypassed import bypassed_by
from netcheck.physics.conductors import Conductor
from netcheck.physics.driving import drives
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.nouns_assembly import ASSEMBLY_NOUNS, IN_ASSEMBLY
from netcheck.rulebook.nouns_coupling import COUPLING_ATTRIBUTES
from netcheck.rulebook.nouns_heat import HEATSINK_ATTRIBUTES, HEATSINK_OF_PART
from netcheck.rulebook.nouns_leads import LEAD_WIRE_ATTRIBUTES
from netcheck.rulebook.nouns_mains import MAINS_ATTRIBUTES
from netcheck.rulebook.nouns_mating import CONTACT_ATTRIBUTES, MATING_ATTRIBUTES
from netcheck.rulebook.nouns_rings import RING_ATTRIBUTES
from netcheck.rulebook.nouns_signal import PATHS_OF_PART, SIGNAL_ATTRIBUTES
from netcheck.rulebook.nouns_supply import RECTIFIED_ATTRIBUTES
from netcheck.rulebook.nouns_ties import TIE_ATTRIBUTES
from netcheck.rulebook.nouns_volume import SOUND_NOUNS

PART, PIN, NET, RECORD = Thing("part"), Thing("pin"), Thing("net"), Thing("record")
NUMBER_KINDS = {
    "ohms": frozenset(
        {"resistor", "potentiometer", "trimmer", "resistor network", "thermistor", "photoresistor", "link", "ferrite"}
        | {"fuse", "jumper"}
    ),
    "farads": frozenset({"capacitor"}),
    "henries": frozenset({"inductor", "ferrite"}),
}
SIGNS = frozenset({"positive", "negative", ""})
TAPERS = frozenset({"linear", "log", "antilog", "letter A", "letter B", "letter C"})
ODDITIES = frozenset({"pin on two nets", "pin listed twice", "node of a missing part"})
CONTROL_USES = frozenset(
    {"mute", "standby", "enable", "shutdown", "mode", "sense", "gain", "reset", "bias", "synchronise"}
)
# Versions of the netlist format that have no flag for pins that are open on purpose.
NO_OPEN_FLAGS = frozenset({"A", "B", "C", "D"})
WHEN_OPEN = frozenset({"works", "stops", "undefined"})


def value_reason(facts: Facts, part: Part) -> str:
    """Why a part has no number: "R12 has the value 'TBD'"."""
    text = part.value.text
    return f"{facts.text_of(part)} has the value '{text}'" if text.strip() else f"{facts.text_of(part)} has no value"


def number_of(facts: Facts, part: Part) -> float | Unknown:
    """The main value of a part in base units; a link or a closed bridge has 0 ohm."""
    if part.kind == "link":
        return 0.0
    if part.value.number is not None:
        return part.value.number
    return Unknown((value_reason(facts, part),), 0.0, None)


def _rating(name: str, said: str, unit_letter: str) -> Callable[[Any, Any], object]:
    def get(facts: Facts, part: Part) -> object:
        found = getattr(part.value, name)
        if found is None:
            for field, text in part.fields.items():
                if field.lower() in _RATING_FIELDS[name]:
                    found = getattr(read_part_value(f"1 {text}", part.kind), name)
        if found is None:
            return Unknown((f"{facts.text_of(part)} has no stated {said}",))
        return found

    return get


_RATING_FIELDS = {
    "rated_volts": ("voltage", "rated voltage", "voltage rating", "rating", "volts", "vrated"),
    "rated_watts": ("power", "power rating", "rating", "watts"),
    "rated_amps": ("current", "current rating", "rating", "amps"),
    "tolerance": ("tolerance",),
}


def _role(role: str) -> Callable[[Any, Any], object]:
    def get(facts: Facts, part: Part) -> object:
        pins = part.by_role(role)
        if pins:
            return pins[0]
        if any(not pin.role for pin in part.pins):
            return Unknown((f"the pins of {facts.text_of(part)} are not known: which is its {role}?",))
        return None

    return get


def _known_or(what: str, name: str) -> Callable[[Any, Any], object]:
    def get(facts: Facts, part: Part) -> object:
        found = getattr(part, name)
        return Unknown((what.format(facts.text_of(part)),)) if found is None else found

    return get


def _price(facts: Facts, part: Part) -> object:
    for field, text in part.fields.items():
        if field.lower() == "price":
            try:
                return float(text.replace(",", ".").strip("€ EUR"))
            except ValueError:
                break
    return Unknown((f"{facts.text_of(part)} has no price",))


def _text_or_unknown(name: str, said: str) -> Callable[[Any, Any], object]:
    def get(facts: Facts, part: Part) -> object:
        found = getattr(part.value, name)
        return found or Unknown((f"{facts.text_of(part)} has no stated {said}",))

    return get


def _attr(kind: Type, get: Callable[[Any, Any], object]) -> Attribute:
    return Attribute(kind, get)


def _supplies_known(facts: Facts, part: Part) -> object:
    """Whether it is known which pins feed a part; not when none is named so and one without a role or on a rail may."""
    if part.by_role("supply plus"):
        return True
    if any(not pin.role or _net_of(facts, pin).role == "rail" for pin in part.pins):
        return Unknown((f"which pins of {facts.text_of(part)} are its supply pins is not known",))
    return True


TRANSISTORS = frozenset({"npn", "pnp", "nmos", "pmos", "njfet", "pjfet"})
DIODES = frozenset({"diode", "led", "zener", "surge diode"})
ROLE_KINDS: Mapping[str, frozenset[str]] = {
    "emitter": TRANSISTORS,
    "base": TRANSISTORS,
    "collector": TRANSISTORS,
    "gate": frozenset({"nmos", "pmos", "njfet", "pjfet", "thyristor"}),
    "source": frozenset({"nmos", "pmos", "njfet", "pjfet"}),
    "drain": frozenset({"nmos", "pmos", "njfet", "pjfet"}),
    "anode": DIODES | {"thyristor", "reference"},
    "cathode": DIODES | {"thyristor", "reference"},
    "plus": frozenset({"capacitor", "battery", "bridge"}),
    "minus": frozenset({"capacitor", "battery", "bridge"}),
    "wiper": frozenset({"potentiometer", "trimmer"}),
    "input": frozenset({"regulator", "reference", "buffer", "converter", "module"}),
    "output": frozenset({"regulator", "reference", "buffer", "converter", "module"}),
    "adjust": frozenset({"regulator", "reference"}),
    "reference": frozenset({"reference"}),
    "ground": frozenset({"regulator", "reference", "converter", "module"}),
    "coil": frozenset({"relay"}),
    "tip": frozenset({"connector"}),
    "ring": frozenset({"connector"}),
    "sleeve": frozenset({"connector"}),
    "shield": frozenset({"connector"}),
}

PART_ATTRIBUTES: dict[str, Attribute] = {
    "ref": _attr(Text(), lambda facts, part: part.ref),
    "board": _attr(Thing("board"), lambda facts, part: next(b for b in facts.circuit.boards if b.name == part.board)),
    "kind": _attr(Word(KINDS), lambda facts, part: part.kind),
    "value": _attr(Text(), lambda facts, part: part.value.text),
    "value_doubt": _attr(Text(), lambda facts, part: part.value.doubt or ""),
    "fitted": _attr(YesNo(), lambda facts, part: part.fitted),
    "on_board": _attr(YesNo(), lambda facts, part: part.on_board),
    "footprint": _attr(Text(), lambda facts, part: part.footprint),
    "package": _attr(Text(), lambda facts, part: part.package),
    "library_part": _attr(Text(), lambda facts, part: part.library_part),
    "description": _attr(Text(), lambda facts, part: part.description),
    "sheet": _attr(Text(), lambda facts, part: part.sheet),
    "misdrawn": _attr(Text(), lambda facts, part: part.misdrawn),
    "two_types": _attr(Text(), lambda facts, part: part.two_types),
    "conflict": _attr(Text(), lambda facts, part: part.conflict),
    "pins": _attr(ListOf(PIN), lambda facts, part: Lot(part.pins)),
    "missing_units": _attr(ListOf(Text()), lambda facts, part: Lot(part.missing_units)),
    "supplies_known": _attr(YesNo(), _supplies_known),
    "price": _attr(Number(EURO), _price),
    "rated_volts": _attr(Number(VOLT), _rating("rated_volts", "voltage", "V")),
    "rated_watts": _attr(Number(WATT), _rating("rated_watts", "power", "W")),
    "rated_amps": _attr(Number(AMPERE), _rating("rated_amps", "current", "A")),
    "tolerance": _attr(Number(PLAIN), _rating("tolerance", "tolerance", "%")),
    "dielectric": _attr(Text(), _text_or_unknown("dielectric", "dielectric")),
    "taper": _attr(Word(TAPERS), _text_or_unknown("taper", "taper")),
    "book": _attr(RECORD, lambda facts, part: _record(facts, part)),
    "own_book": _attr(RECORD, lambda facts, part: _own_record(facts, part)),
}
_KIND_ATTRIBUTES: dict[str, tuple[frozenset[str], Attribute]] = {
    "ohms": (NUMBER_KINDS["ohms"], _attr(Number(OHM), number_of)),
    "farads": (NUMBER_KINDS["farads"], _attr(Number(FARAD), number_of)),
    "henries": (NUMBER_KINDS["henries"], _attr(Number(HENRY), number_of)),
    "polarised": (
        frozenset({"capacitor"}),
        _attr(YesNo(), _known_or("whether {} is polarised is not known", "polarised")),
    ),
    "keyed": (frozenset({"connector"}), _attr(YesNo(), _known_or("whether {} is keyed is not known", "keyed"))),
    "family": (frozenset({"connector"}), _attr(Text(), lambda facts, part: part.family)),
    "pitch": (frozenset({"connector"}), _attr(Number(METRE), _known_or("the pitch of {} is not known", "pitch"))),
    "matings": (
        frozenset({"connector"}),
        _attr(
            ListOf(Thing("mating")),
            lambda facts, part: Lot(tuple(mating for mating in facts.matings if mating.near == part.key)),
        ),
    ),
    **{role: (kinds, _attr(PIN, _role(role))) for role, kinds in ROLE_KINDS.items()},
}


def _record(facts: Facts, part: Part) -> object:
    if part.record is None:
        return Unknown((f"the part book does not know {facts.text_of(part)} ({part.value.text})",))
    return part.record


def _own_record(facts: Facts, part: Part) -> object:
    """The record of a part's very type; one that stands for its kind is none."""
    if part.record is None or part.record.generic:
        return Unknown((f"the part book does not know {facts.text_of(part)} ({part.value.text})",))
    return part.record


def part_attributes(kinds: frozenset[str] | None) -> Mapping[str, Attribute]:
    """Attributes of a part; of one narrowed to kinds, those that any of the kinds has."""
    found = {**PART_ATTRIBUTES, **IN_ASSEMBLY["part"], **HEATSINK_OF_PART, **PATHS_OF_PART}
    for name, (holders, attribute) in _KIND_ATTRIBUTES.items():
        if kinds is None or kinds & holders:
            found[name] = attribute
    return found


def _figure(name: str) -> Callable[[Any, Any], object]:
    unit = FIELDS[name][0]

    def get(facts: Facts, record: Any) -> object:
        figure = record.figures.get(name)
        if figure is None:
            return Unknown((f"the part book has no {name.replace('_', ' ')} for {record.name}",))
        if unit is None:
            return figure.word
        if figure.low is not None and figure.low == figure.high:
            return figure.low
        return Unknown((f"the {name.replace('_', ' ')} of {record.name} varies",), figure.low, figure.high)

    return get


RECORD_ATTRIBUTES: dict[str, Attribute] = {
    name: _attr(Text() if unit is None else Number(unit), _figure(name)) for name, (unit, _) in FIELDS.items()
}
RECORD_ATTRIBUTES |= {
    "name": _attr(Text(), lambda facts, record: record.name),
    "generic": _attr(YesNo(), lambda facts, record: record.generic),
    "polarity": _attr(Word(SIGNS), lambda facts, record: record.polarity),
}


def _net_of(facts: Facts, pin: Pin) -> Net:
    return facts.circuit.nets[pin.net]


def _drives(facts: Facts, pin: Pin) -> object:
    found = drives(facts.circuit, pin)
    return Unknown((f"whether {facts.pin_text(pin)} sets a voltage is not known",)) if found is None else found


PIN_ATTRIBUTES: dict[str, Attribute] = {
    "part": _attr(PART, lambda facts, pin: facts.circuit.parts[pin.part]),
    "number": _attr(Text(), lambda facts, pin: pin.number),
    "name": _attr(Text(), lambda facts, pin: pin.name),
    "role": _attr(Word(PIN_ROLES), lambda facts, pin: pin.role),
    "net": _attr(NET, _net_of),
    "type": _attr(Text(), lambda facts, pin: pin.type),
    "unit": _attr(Text(), lambda facts, pin: pin.unit),
    "listed": _attr(YesNo(), lambda facts, pin: pin.listed),
    "flagged_open": _attr(YesNo(), lambda facts, pin: pin.flagged_open),
    "drives": _attr(YesNo(), _drives),
    "alone": _attr(YesNo(), lambda facts, pin: len(_net_of(facts, pin).pins) == 1),
}


def _net_sign(facts: Facts, net: Net) -> object:
    if net.sign or net.role != "rail":
        return net.sign
    return Unknown((f"whether {facts.net_text(net)} is positive or negative is not known",))


NET_ATTRIBUTES: dict[str, Attribute] = {
    "name": _attr(Text(), lambda facts, net: net.name),
    "named": _attr(YesNo(), lambda facts, net: bool(net.name)),
    "board": _attr(Thing("board"), lambda facts, net: next(b for b in facts.circuit.boards if b.name == net.board)),
    "role": _attr(Word(NET_ROLES), lambda facts, net: net.role),
    "sign": _attr(Word(SIGNS), _net_sign),
    "volts": _attr(Number(VOLT), lambda facts, net: facts.volts(net)),
    "domain": _attr(Text(), lambda facts, net: net.domain),
    "island": _attr(
        Thing("ground island"),
        lambda facts, net: next((island for island in facts.ground_islands if net.key in island.grounds), None),
    ),
    "origin": _attr(Text(), lambda facts, net: net.origin),
    "pins": _attr(ListOf(PIN), lambda facts, net: facts.pins_of(net)),
    "drawn_pins": _attr(ListOf(PIN), lambda facts, net: Lot(tuple(facts.circuit.pins[key] for key in net.pins))),
    "flagged_open": _attr(YesNo(), lambda facts, net: net.flagged_open),
    "bypassed": _attr(ListOf(PART), lambda facts, net: Lot(bypassed_by(facts.circuit, net))),
}


def _amp_pin(name: str) -> Callable[[Any, Any], object]:
    def get(facts: Facts, amp: Amplifier) -> object:
        key = getattr(amp, name)
        if key is not None:
            return facts.circuit.pins[key]
        said = name.replace("_", " ")
        if said in amp.missing:
            return Unknown((f"the file has no {said} pin for {amplifier_text(facts, amp)}",))
        if any(not pin.role for pin in facts.circuit.parts[amp.part].pins):
            return Unknown(
                (f"the pins of {facts.text_of(facts.circuit.parts[amp.part])} are not known: which is its {said}?",)
            )
        return None

    return get


def amplifier_text(facts: Facts, amp: Amplifier) -> str:
    """An amplifier as it is named in sentences: U1A."""
    return f"{facts.text_of(facts.circuit.parts[amp.part])}{amp.unit}"


def _inputs(facts: Facts, amp: Amplifier) -> Lot:
    return Lot(tuple(facts.circuit.pins[key] for key in (amp.plus, amp.minus) if key is not None))


AMPLIFIER_ATTRIBUTES: dict[str, Attribute] = {
    "part": _attr(PART, lambda facts, amp: facts.circuit.parts[amp.part]),
    "kind": _attr(Word(KINDS), lambda facts, amp: amp.kind),
    "unit": _attr(Text(), lambda facts, amp: amp.unit),
    "output": _attr(PIN, _amp_pin("output")),
    "plus": _attr(PIN, _amp_pin("plus")),
    "minus": _attr(PIN, _amp_pin("minus")),
    "inputs": _attr(ListOf(PIN), _inputs),
    "supply_plus": _attr(PIN, _amp_pin("supply_plus")),
    "supply_minus": _attr(PIN, _amp_pin("supply_minus")),
    "placed": _attr(YesNo(), lambda facts, amp: amp.output is not None or not amp.missing),
    "missing": _attr(ListOf(Text()), lambda facts, amp: Lot(amp.missing)),
}

SUPPLY_PIN_ATTRIBUTES: dict[str, Attribute] = {
    "pin": _attr(PIN, lambda facts, supply: supply.pin),
    "net": _attr(NET, lambda facts, supply: _net_of(facts, supply.pin)),
    "sign": _attr(Word(frozenset({"positive", "negative"})), lambda facts, supply: supply.sign),
    "package": _attr(PART, lambda facts, supply: supply.package),
}


def _conductor_ohms(facts: Facts, conductor: Conductor) -> object:
    part = facts.circuit.parts.get(conductor.key)
    if part is not None and part.kind == "resistor":
        return number_of(facts, part)
    return conductor.ohms


CONDUCTOR_ATTRIBUTES: dict[str, Attribute] = {
    "kind": _attr(Text(), lambda facts, conductor: conductor.kind),
    "ohms": _attr(Number(OHM), _conductor_ohms),
}
CONTROL_PIN_ATTRIBUTES: dict[str, Attribute] = {
    "pin": _attr(PIN, lambda facts, control: control.pin),
    "net": _attr(NET, lambda facts, control: _net_of(facts, control.pin)),
    "package": _attr(PART, lambda facts, control: control.package),
    "name": _attr(Text(), lambda facts, control: control.control.name),
    "use": _attr(Word(CONTROL_USES), lambda facts, control: control.control.use),
    "when_open": _attr(Word(WHEN_OPEN), lambda facts, control: control.control.when_open),
    "needs": _attr(Text(), lambda facts, control: control.control.needs),
}
ODDITY_ATTRIBUTES: dict[str, Attribute] = {
    "what": _attr(Word(ODDITIES), lambda facts, odd: odd.what),
    "pin": _attr(Text(), lambda facts, odd: odd.pin),
    "part": _attr(PART, lambda facts, odd: odd.part),
    "nets": _attr(ListOf(NET), lambda facts, odd: Lot(odd.nets)),
}


def _in_board(what: str, things: Callable[[Facts], tuple[Any, ...]]) -> Callable[[Any, Any], object]:
    def get(facts: Facts, board: Any) -> object:
        return facts.on_board(what, board.name, things)

    return get


BOARD_ATTRIBUTES: dict[str, Attribute] = {
    "name": _attr(Text(), lambda facts, board: board.name),
    "parts": _attr(ListOf(PART), lambda facts, board: Lot(board.parts)),
    "nets": _attr(ListOf(NET), _in_board("nets", lambda facts: facts.nets)),
    "rails": _attr(ListOf(NET), _in_board("rails", lambda facts: facts.nets_of("rail"))),
    "grounds": _attr(ListOf(NET), _in_board("grounds", lambda facts: facts.nets_of("ground"))),
    "connectors": _attr(
        ListOf(Thing("part", frozenset({"connector"}))),
        _in_board("connectors", lambda facts: facts.by_kind.get("connector", ())),
    ),
    "amplifiers": _attr(ListOf(Thing("amplifier")), _in_board("amplifiers", lambda facts: facts.amplifiers)),
    "tells_open_pins": _attr(YesNo(), lambda facts, board: board.netlist.version.strip().upper() not in NO_OPEN_FLAGS),
}

NOUN_ATTRIBUTES: dict[str, Mapping[str, Attribute]] = {
    "pin": PIN_ATTRIBUTES,
    "net": {**NET_ATTRIBUTES, **IN_ASSEMBLY["net"]},
    "record": RECORD_ATTRIBUTES,
    "amplifier": AMPLIFIER_ATTRIBUTES,
    "supply pin": SUPPLY_PIN_ATTRIBUTES,
    "mating": MATING_ATTRIBUTES,
    "contact": CONTACT_ATTRIBUTES,
    "conductor": {**CONDUCTOR_ATTRIBUTES, **IN_ASSEMBLY["conductor"]},
    "control pin": CONTROL_PIN_ATTRIBUTES,
    "oddity": ODDITY_ATTRIBUTES,
    "ground tie": TIE_ATTRIBUTES,
    "heatsink": HEATSINK_ATTRIBUTES,
    "rectified rail": RECTIFIED_ATTRIBUTES,
    "signal path": SIGNAL_ATTRIBUTES,
    "coupling": COUPLING_ATTRIBUTES,
    "board": BOARD_ATTRIBUTES,
    **MAINS_ATTRIBUTES,
    **SOUND_NOUNS,
    **ASSEMBLY_NOUNS,
    "ground loop": {**ASSEMBLY_NOUNS["ground loop"], **RING_ATTRIBUTES},
    "wire": {**ASSEMBLY_NOUNS["wire"], **LEAD_WIRE_ATTRIBUTES},
}
