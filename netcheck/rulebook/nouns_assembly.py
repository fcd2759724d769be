"""Nouns of an assembly and what can be asked of each: cables, wires, the case, inputs and outputs, what is wanted.

Boards that stand alone have an assembly too, of which nothing is told.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from netcheck.circuit.assemble import Lead, Wire
from netcheck.circuit.model import NET_ROLES, Net, Part
from netcheck.ground.units import CELSIUS, DECIBEL, EURO, FARAD, HERTZ, METRE, OHM, PLAIN, SECOND, VOLT, VOLT_AMPERE
from netcheck.intake.assembly import ChassisPart, SignalInput, SignalOutput
from netcheck.intake.chassisparts import SORT_NAMES
from netcheck.language.types import Attribute, ListOf, Number, Text, Thing, Type, Word, YesNo
from netcheck.language.values import Lot, Unknown
from netcheck.physics.bonds import carries_signal, ohms_of
from netcheck.physics.conductors import Conductor, GroundLoop
from netcheck.rulebook.facts import Facts

PART, PIN, NET = Thing("part"), Thing("pin"), Thing("net")
NOT_GIVEN = "no assembly file was given"
WIRE_KINDS = frozenset({"wire", "screen", "case", "earth", "outside"})


@dataclass(frozen=True, slots=True)
class Whole:
    """The assembly as a subject."""

    key: str = "assembly"


@dataclass(frozen=True, slots=True)
class CaseOf:
    """The case as a subject."""

    key: str = "case"


@dataclass(frozen=True, slots=True)
class Wanted:
    """The targets as a subject."""

    key: str = "targets"


@dataclass(frozen=True, slots=True)
class SignalEnd:
    """An input or output as a subject; known by its pin."""

    key: str
    entry: SignalInput | SignalOutput


def _attr(kind: Type, get: Callable[[Any, Any], object]) -> Attribute:
    return Attribute(kind, get)


def _unknown_or(value: object, reason: str) -> object:
    return Unknown((reason,)) if value is None else value


def signal_ends(facts: Facts, outputs: bool) -> tuple[SignalEnd, ...]:
    """Inputs or outputs that the assembly file names."""
    if facts.assembled is None:
        return ()
    file, pins = facts.assembled.file, facts.assembled.pins
    entries: tuple[SignalInput | SignalOutput, ...] = file.outputs if outputs else file.inputs
    return tuple(SignalEnd(pins[entry.at.text], entry) for entry in entries)


# Cables


def _carries_signal(facts: Facts, lead: Lead) -> bool:
    assert facts.assembled is not None
    return carries_signal(facts.assembled, lead)


def _keyed(facts: Facts, lead: Lead) -> object:
    if lead.keyed is not None:
        return lead.keyed
    told = [facts.circuit.parts[key].keyed for key in (lead.near, lead.far)]
    if True in told:
        return True
    return Unknown((f"whether the {lead.name} is keyed is not told",)) if None in told else False


CABLE_ATTRIBUTES: dict[str, Attribute] = {
    "name": _attr(Text(), lambda facts, lead: lead.name),
    "near": _attr(PART, lambda facts, lead: facts.circuit.parts[lead.near]),
    "far": _attr(PART, lambda facts, lead: facts.circuit.parts[lead.far]),
    "wires": _attr(ListOf(Thing("wire")), lambda facts, lead: Lot(tuple(w for w in lead.wires if w.kind == "wire"))),
    "keyed": _attr(YesNo(), _keyed),
    "direct": _attr(YesNo(), lambda facts, lead: lead.direct),
    "balanced": _attr(YesNo(), lambda facts, lead: lead.balanced),
    "screened": _attr(YesNo(), lambda facts, lead: lead.screened),
    "screen_ends": _attr(
        ListOf(NET), lambda facts, lead: Lot(tuple(facts.circuit.nets[key] for key in lead.screen_ends))
    ),
    "carries_signal": _attr(YesNo(), _carries_signal),
    "length": _attr(
        Number(METRE), lambda facts, lead: _unknown_or(lead.length, f"the length of the {lead.name} is not given")
    ),
}


def _end_pin(at: int) -> Callable[[Any, Any], object]:
    return lambda facts, wire: facts.circuit.pins.get(wire.ends[at])


def _end_net(at: int) -> Callable[[Any, Any], object]:
    return lambda facts, wire: facts.circuit.nets[wire.nets[at]]


WIRE_ATTRIBUTES: dict[str, Attribute] = {
    "kind": _attr(Word(WIRE_KINDS), lambda facts, wire: wire.kind),
    "cable": _attr(Text(), lambda facts, wire: wire.cable.removeprefix("cable/")),
    "pin_from": _attr(PIN, _end_pin(0)),
    "pin_to": _attr(PIN, _end_pin(1)),
    "net_from": _attr(NET, _end_net(0)),
    "net_to": _attr(NET, _end_net(1)),
    "ohms": _attr(Number(OHM), lambda facts, wire: ohms_of(wire, facts.words)),
}


# Nets and parts in an assembly


def _alone(facts: Facts, net: Net) -> Net:
    return facts.assembled.alone.get(net.key, net) if facts.assembled is not None else net


def _own_volts(facts: Facts, net: Net) -> object:
    found = _alone(facts, net).volts
    return _unknown_or(found, f"the volts of {facts.net_text(net)} are not known on its own board")


def _on_case(facts: Facts, net: Net) -> object:
    if facts.assembled is None:
        return Unknown((NOT_GIVEN,))
    if not facts.assembled.case:
        return False
    near = facts.walks.joined_by_cable(net.key)
    return facts.assembled.case in near or _perhaps_by_a_screw(facts, near)


def _perhaps_by_a_screw(facts: Facts, nets: Iterable[str]) -> object:
    """Where nothing at all is told to touch a metal case, the screw in a plated hole may, or may not."""
    assert facts.assembled is not None
    case = facts.assembled.file.case
    if case is None or case.touched_by or case.material != "metal":
        return False
    pins = (pin for key in nets for pin in facts.circuit.pins_on(facts.circuit.nets[key]))
    holes = dict.fromkeys(pin.part for pin in pins if facts.circuit.parts[pin.part].kind in ("hole", "mechanical"))
    named = [facts.text_of(facts.circuit.parts[key]) for key in holes]
    if not named:
        return False
    others = f" or one of {len(named) - 1} others" if len(named) > 1 else ""
    return Unknown((f"whether {named[0]}{others} touches the case is not given",))


IN_ASSEMBLY_NET: dict[str, Attribute] = {
    "own_role": _attr(Word(NET_ROLES), lambda facts, net: _alone(facts, net).role),
    "own_volts": _attr(Number(VOLT), _own_volts),
    "joined": _attr(
        ListOf(NET),
        lambda facts, net: Lot(tuple(facts.circuit.nets[key] for key in facts.walks.joined_by_cable(net.key))),
    ),
    "on_case": _attr(YesNo(), _on_case),
}


def _chassis(facts: Facts, part: Part) -> ChassisPart | None:
    return facts.assembled.chassis.get(part.key) if facts.assembled is not None else None


def _of_chassis(name: str, said: str) -> Callable[[Any, Any], object]:
    def get(facts: Facts, part: Part) -> object:
        found = _chassis(facts, part)
        return _unknown_or(getattr(found, name, None) or None, f"the {said} of {facts.text_of(part)} is not given")

    return get


def _windings(name: str) -> Callable[[Any, Any], object]:
    def get(facts: Facts, part: Part) -> object:
        found = _chassis(facts, part)
        return Lot(getattr(found, name)) if found is not None else Lot(())

    return get


IN_ASSEMBLY_PART: dict[str, Attribute] = {
    "in_chassis": _attr(YesNo(), lambda facts, part: _chassis(facts, part) is not None),
    "sort": _attr(
        Word(frozenset({"", *SORT_NAMES})),
        lambda facts, part: chassis.sort if (chassis := _chassis(facts, part)) is not None else "",
    ),
    "mated": _attr(YesNo(), lambda facts, part: facts.is_mated(part)),
    "primary_volts": _attr(ListOf(Number(VOLT)), _windings("primary")),
    "secondary_volts": _attr(ListOf(Number(VOLT)), _windings("secondaries")),
    "power": _attr(Number(VOLT_AMPERE), _of_chassis("power", "power")),
    "regulation": _attr(Number(PLAIN), _of_chassis("regulation", "regulation")),
}

IN_ASSEMBLY_CONDUCTOR: dict[str, Attribute] = {
    "nets": _attr(
        ListOf(NET), lambda facts, c: Lot(tuple(facts.circuit.nets[k] for k in c.nets if k in facts.circuit.nets))
    ),
    "cable": _attr(Text(), lambda facts, conductor: conductor.cable),
}


def _passes(kind: str) -> Callable[[Any, Any], object]:
    def get(facts: Facts, loop: GroundLoop) -> bool:
        return any(conductor.kind == kind for conductor in loop.conductors)

    return get


LOOP_ATTRIBUTES: dict[str, Attribute] = {
    "conductors": _attr(ListOf(Thing("conductor")), lambda facts, loop: Lot(loop.conductors)),
    "grounds": _attr(ListOf(NET), lambda facts, loop: Lot(tuple(facts.circuit.nets[key] for key in loop.grounds))),
    "cables": _attr(ListOf(Text()), lambda facts, loop: Lot(loop.cables)),
    "through_case": _attr(YesNo(), lambda facts, loop: loop.through_case),
    "inside_one_cable": _attr(YesNo(), lambda facts, loop: loop.inside_one_cable),
    "signal_reference": _attr(YesNo(), lambda facts, loop: loop.carries_signal_reference),
    "ohms": _attr(Number(OHM), lambda facts, loop: loop.ohms),
    "through_outside": _attr(YesNo(), _passes("outside")),
    "through_screen": _attr(YesNo(), _passes("screen")),
}
ISLAND_ATTRIBUTES: dict[str, Attribute] = {
    "grounds": _attr(ListOf(NET), lambda facts, island: Lot(tuple(facts.circuit.nets[key] for key in island.grounds))),
    "supplies": _attr(
        ListOf(PART), lambda facts, island: Lot(tuple(facts.circuit.parts[key] for key in island.supplies))
    ),
    "apart": _attr(YesNo(), lambda facts, island: Unknown(island.doubts) if island.doubts else True),
}


# The case, targets, ends of signals


def _metal(facts: Facts, case: CaseOf) -> object:
    material = facts.assembled.file.case.material if facts.assembled and facts.assembled.file.case else ""
    return material == "metal" if material else Unknown(("what the case is made of is not given",))


def _bonds(facts: Facts, case: CaseOf) -> Lot:
    wires = facts.assembled.wires if facts.assembled is not None else ()
    return Lot(tuple(wire for wire in wires if wire.kind == "case"))


def _case_net(facts: Facts, case: CaseOf) -> object:
    return facts.circuit.nets.get(facts.assembled.case) if facts.assembled is not None else None


CASE_ATTRIBUTES: dict[str, Attribute] = {
    "metal": _attr(YesNo(), _metal),
    "net": _attr(NET, _case_net),
    "bonds": _attr(ListOf(Thing("wire")), _bonds),
}


def _target(name: str, part: str = "") -> Callable[[Any, Any], object]:
    def get(facts: Facts, wanted: Wanted) -> object:
        if facts.assembled is None:
            return None
        found = getattr(facts.assembled.file.targets, name)
        return getattr(found, part, None) if part else found

    return get


TARGET_ATTRIBUTES: dict[str, Attribute] = {
    "passband_low": _attr(Number(HERTZ), _target("passband", "low")),
    "passband_high": _attr(Number(HERTZ), _target("passband", "high")),
    "passband_within": _attr(Number(DECIBEL), _target("passband", "most")),
    "delay_low": _attr(Number(HERTZ), _target("group_delay", "low")),
    "delay_high": _attr(Number(HERTZ), _target("group_delay", "high")),
    "delay_spread": _attr(Number(SECOND), _target("group_delay", "most")),
    "noise": _attr(Number(VOLT), _target("noise")),
}


def _of_entry(name: str, said: str) -> Callable[[Any, Any], object]:
    def get(facts: Facts, end: SignalEnd) -> object:
        at = facts.pin_text(facts.circuit.pins[end.key])
        return _unknown_or(getattr(end.entry, name, None), f"the {said} at {at} is not given")

    return get


def _back(facts: Facts, end: SignalEnd) -> object:
    assert facts.assembled is not None
    if end.entry.back is None:
        return None
    return facts.circuit.pins[facts.assembled.pins[end.entry.back.text]]


_END_ATTRIBUTES: dict[str, Attribute] = {
    "pin": _attr(PIN, lambda facts, end: facts.circuit.pins[end.key]),
    "net": _attr(NET, lambda facts, end: facts.circuit.nets[facts.circuit.pins[end.key].net]),
    "back": _attr(PIN, _back),
    "largest_volts": _attr(Number(VOLT), _of_entry("largest_volts", "largest level")),
}
INPUT_ATTRIBUTES = {
    **_END_ATTRIBUTES,
    "source_ohms": _attr(Number(OHM), _of_entry("source_ohms", "source impedance")),
}
OUTPUT_ATTRIBUTES = {
    **_END_ATTRIBUTES,
    "loads": _attr(ListOf(Number(OHM)), lambda facts, end: Lot(end.entry.loads)),
    "cable_farads": _attr(Number(FARAD), _of_entry("cable_farads", "capacitance of the lead")),
}


# The whole


def _file(name: str) -> Callable[[Any, Any], object]:
    return lambda facts, whole: getattr(facts.assembled.file, name) if facts.assembled is not None else None


def _cost(facts: Facts, whole: Whole) -> object:
    """What the parts of one set cost; parts without a price leave it open upwards."""
    from netcheck.rulebook.nouns import PART_ATTRIBUTES

    get = PART_ATTRIBUTES["price"].get
    prices = [(part, get(facts, part)) for part in facts.parts if part.kind not in ("hole", "mechanical")]
    total = sum(price for _, price in prices if isinstance(price, float))
    missing = [part for part, price in prices if not isinstance(price, float)]
    if not missing:
        return total
    others = f" and {len(missing) - 1} other parts have" if len(missing) > 1 else " has"
    return Unknown((f"{facts.text_of(missing[0])}{others} no price",), low=total)


def _budget(facts: Facts, whole: Whole) -> object:
    """Euro for the parts of one set."""
    budget = facts.assembled.file.budget if facts.assembled is not None else None
    if budget is None or facts.assembled is None:
        return None
    return budget.parts if budget.per == "set" else budget.parts / facts.assembled.file.build


def _ambient(facts: Facts, whole: Whole) -> object:
    found = facts.assembled.file.ambient if facts.assembled is not None else None
    return _unknown_or(found, "the temperature round the box is not given")


ASSEMBLY_ATTRIBUTES: dict[str, Attribute] = {
    "given": _attr(YesNo(), lambda facts, whole: facts.assembled is not None),
    "name": _attr(Text(), lambda facts, whole: facts.assembled.file.name if facts.assembled is not None else ""),
    "build": _attr(Number(PLAIN), lambda facts, whole: facts.assembled.file.build if facts.assembled else 1),
    "boards": _attr(ListOf(Thing("board")), lambda facts, whole: Lot(facts.boards)),
    "parts": _attr(ListOf(PART), lambda facts, whole: Lot(facts.parts)),
    "chassis_parts": _attr(
        ListOf(PART), lambda facts, whole: Lot(tuple(p for p in facts.parts if _chassis(facts, p) is not None))
    ),
    "nets": _attr(ListOf(NET), lambda facts, whole: Lot(facts.nets)),
    "rails": _attr(ListOf(NET), lambda facts, whole: Lot(facts.nets_of("rail"))),
    "grounds": _attr(ListOf(NET), lambda facts, whole: Lot(facts.nets_of("ground"))),
    "mains": _attr(ListOf(NET), lambda facts, whole: Lot(facts.nets_of("mains"))),
    "connectors": _attr(
        ListOf(Thing("part", frozenset({"connector"}))), lambda facts, whole: Lot(facts.by_kind.get("connector", ()))
    ),
    "cables": _attr(ListOf(Thing("cable")), lambda facts, whole: Lot(facts.assembled.leads if facts.assembled else ())),
    "wires": _attr(ListOf(Thing("wire")), lambda facts, whole: Lot(facts.assembled.wires if facts.assembled else ())),
    "inputs": _attr(ListOf(Thing("signal input")), lambda facts, whole: Lot(signal_ends(facts, outputs=False))),
    "outputs": _attr(ListOf(Thing("signal output")), lambda facts, whole: Lot(signal_ends(facts, outputs=True))),
    "case": _attr(
        Thing("case"), lambda facts, whole: CaseOf() if facts.assembled and facts.assembled.file.case else None
    ),
    "targets": _attr(Thing("targets"), lambda facts, whole: Wanted()),
    "cost": _attr(Number(EURO), _cost),
    "budget": _attr(Number(EURO), _budget),
    "ambient": _attr(Number(CELSIUS), _ambient),
}

ASSEMBLY_NOUNS: Mapping[str, Mapping[str, Attribute]] = {
    "cable": CABLE_ATTRIBUTES,
    "wire": WIRE_ATTRIBUTES,
    "ground loop": LOOP_ATTRIBUTES,
    "ground island": ISLAND_ATTRIBUTES,
    "case": CASE_ATTRIBUTES,
    "targets": TARGET_ATTRIBUTES,
    "signal input": INPUT_ATTRIBUTES,
    "signal output": OUTPUT_ATTRIBUTES,
    "assembly": ASSEMBLY_ATTRIBUTES,
}
# Attributes that other nouns have besides their own.
IN_ASSEMBLY: Mapping[str, Mapping[str, Attribute]] = {
    "net": IN_ASSEMBLY_NET,
    "part": IN_ASSEMBLY_PART,
    "conductor": IN_ASSEMBLY_CONDUCTOR,
}


def assembly_subjects(facts: Facts, noun: str) -> tuple[object, ...] | None:
    """All things that a noun of this module stands for; None for other nouns."""
    match noun:
        case "cable":
            return facts.assembled.leads if facts.assembled is not None else ()
        case "wire":
            return facts.assembled.wires if facts.assembled is not None else ()
        case "assembly":
            return (Whole(),)
        case "signal input" | "signal output":
            return signal_ends(facts, outputs=noun == "signal output")
    return None


def assembly_text(facts: Facts, value: object) -> str | None:
    """How a thing of this module names itself; None for others."""
    if isinstance(value, Lead):
        return value.name
    if isinstance(value, Conductor) and value.members:
        return f"the {value.cable}"
    if isinstance(value, Wire | Conductor) and "/" in value.key:
        wires = {wire.key: wire for wire in facts.assembled.wires} if facts.assembled is not None else {}
        wire = wires.get(value.key)
        return _wire_text(facts, wire) if wire is not None else None
    if isinstance(value, SignalEnd):
        return facts.pin_text(facts.circuit.pins[value.key])
    if isinstance(value, Whole):
        name = facts.assembled.file.name if facts.assembled is not None else ""
        return name or "the assembly"
    return {CaseOf: "the case", Wanted: "the targets"}.get(type(value))


def _wire_text(facts: Facts, wire: Wire) -> str:
    """A wire in words: the power lead (pin 2), the bond of supply.H1 to the case, the wire from inlet.PE to …"""
    kind, _, name = wire.key.partition("/")
    if wire.kind == "screen":
        return f"the screen of the {wire.cable.removeprefix('cable/')}"
    if kind == "cable":
        lead, _, pins = name.rpartition("/")
        return f"the {lead} (pin {pins})"
    if kind == "bond":
        return f"the bond of {name} to the case"
    if kind == "outside":
        return f"what is plugged into {name}"
    return f"the wire from {name}"
