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
from netcheck.language.types import Attribute, ListOf, Number, Text, Thing, Word, YesNo
from netcheck.language.values import Lot, Unknown
from netcheck.physics.bonds import carries_signal, ohms_of
from netcheck.physics.conductors import Conductor, GroundLoop
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.signatures import attr

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
    "name": attr(Text(), lambda facts, lead: lead.name),
    "near": attr(PART, lambda facts, lead: facts.circuit.parts[lead.near]),
    "far": attr(PART, lambda facts, lead: facts.circuit.parts[lead.far]),
    "wires": attr(ListOf(Thing("wire")), lambda facts, lead: Lot(tuple(w for w in lead.wires if w.kind == "wire"))),
    "keyed": attr(YesNo(), _keyed),
    "direct": attr(YesNo(), lambda facts, lead: lead.direct),
    "balanced": attr(YesNo(), lambda facts, lead: lead.balanced),
    "screened": attr(YesNo(), lambda facts, lead: lead.screened),
    "screen_ends": attr(
        ListOf(NET), lambda facts, lead: Lot(tuple(facts.circuit.nets[key] for key in lead.screen_ends))
    ),
    "carries_signal": attr(YesNo(), _carries_signal),
    "length": attr(
        Number(METRE), lambda facts, lead: _unknown_or(lead.length, f"the length of the {lead.name} is not given")
    ),
}


def _end_pin(at: int) -> Callable[[Any, Any], object]:
    return lambda facts, wire: facts.circuit.pins.get(wire.ends[at])


def _end_net(at: int) -> Callable[[Any, Any], object]:
    return lambda facts, wire: facts.circuit.nets[wire.nets[at]]


WIRE_ATTRIBUTES: dict[str, Attribute] = {
    "kind": attr(Word(WIRE_KINDS), lambda facts, wire: wire.kind),
    "cable": attr(Text(), lambda facts, wire: wire.cable.removeprefix("cable/")),
    "pin_from": attr(PIN, _end_pin(0)),
    "pin_to": attr(PIN, _end_pin(1)),
    "net_from": attr(NET, _end_net(0)),
    "net_to": attr(NET, _end_net(1)),
    "ohms": attr(Number(OHM), lambda facts, wire: ohms_of(wire, facts.words)),
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
    "own_role": attr(Word(NET_ROLES), lambda facts, net: _alone(facts, net).role),
    "own_volts": attr(Number(VOLT), _own_volts),
    "joined": attr(
        ListOf(NET),
        lambda facts, net: Lot(tuple(facts.circuit.nets[key] for key in facts.walks.joined_by_cable(net.key))),
    ),
    "on_case": attr(YesNo(), _on_case),
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
    "in_chassis": attr(YesNo(), lambda facts, part: _chassis(facts, part) is not None),
    "sort": attr(
        Word(frozenset({"", *SORT_NAMES})),
        lambda facts, part: chassis.sort if (chassis := _chassis(facts, part)) is not None else "",
    ),
    "mated": attr(YesNo(), lambda facts, part: facts.is_mated(part)),
    "primary_volts": attr(ListOf(Number(VOLT)), _windings("primary")),
    "secondary_volts": attr(ListOf(Number(VOLT)), _windings("secondaries")),
    "power": attr(Number(VOLT_AMPERE), _of_chassis("power", "power")),
    "regulation": attr(Number(PLAIN), _of_chassis("regulation", "regulation")),
}

IN_ASSEMBLY_CONDUCTOR: dict[str, Attribute] = {
    "nets": attr(
        ListOf(NET), lambda facts, c: Lot(tuple(facts.circuit.nets[k] for k in c.nets if k in facts.circuit.nets))
    ),
    "cable": attr(Text(), lambda facts, conductor: conductor.cable),
}


def _passes(kind: str) -> Callable[[Any, Any], object]:
    def get(facts: Facts, loop: GroundLoop) -> bool:
        return any(conductor.kind == kind for conductor in loop.conductors)

    return get


LOOP_ATTRIBUTES: dict[str, Attribute] = {
    "conductors": attr(ListOf(Thing("conductor")), lambda facts, loop: Lot(loop.conductors)),
    "grounds": attr(ListOf(NET), lambda facts, loop: Lot(tuple(facts.circuit.nets[key] for key in loop.grounds))),
    "cables": attr(ListOf(Text()), lambda facts, loop: Lot(loop.cables)),
    "through_case": attr(YesNo(), lambda facts, loop: loop.through_case),
    "inside_one_cable": attr(YesNo(), lambda facts, loop: loop.inside_one_cable),
    "signal_reference": attr(YesNo(), lambda facts, loop: loop.carries_signal_reference),
    "ohms": attr(Number(OHM), lambda facts, loop: loop.ohms),
    "through_outside": attr(YesNo(), _passes("outside")),
    "through_screen": attr(YesNo(), _passes("screen")),
}
ISLAND_ATTRIBUTES: dict[str, Attribute] = {
    "grounds": attr(ListOf(NET), lambda facts, island: Lot(tuple(facts.circuit.nets[key] for key in island.grounds))),
    "supplies": attr(
        ListOf(PART), lambda facts, island: Lot(tuple(facts.circuit.parts[key] for key in island.supplies))
    ),
    "apart": attr(YesNo(), lambda facts, island: Unknown(island.doubts) if island.doubts else True),
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
    "metal": attr(YesNo(), _metal),
    "net": attr(NET, _case_net),
    "bonds": attr(ListOf(Thing("wire")), _bonds),
}


def _target(name: str, part: str = "") -> Callable[[Any, Any], object]:
    def get(facts: Facts, wanted: Wanted) -> object:
        if facts.assembled is None:
            return None
        found = getattr(facts.assembled.file.targets, name)
        return getattr(found, part, None) if part else found

    return get


TARGET_ATTRIBUTES: dict[str, Attribute] = {
    "passband_low": attr(Number(HERTZ), _target("passband", "low")),
    "passband_high": attr(Number(HERTZ), _target("passband", "high")),
    "passband_within": attr(Number(DECIBEL), _target("passband", "most")),
    "delay_low": attr(Number(HERTZ), _target("group_delay", "low")),
    "delay_high": attr(Number(HERTZ), _target("group_delay", "high")),
    "delay_spread": attr(Number(SECOND), _target("group_delay", "most")),
    "noise": attr(Number(VOLT), _target("noise")),
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
    "pin": attr(PIN, lambda facts, end: facts.circuit.pins[end.key]),
    "net": attr(NET, lambda facts, end: facts.circuit.nets[facts.circuit.pins[end.key].net]),
    "back": attr(PIN, _back),
    "largest_volts": attr(Number(VOLT), _of_entry("largest_volts", "largest level")),
}
INPUT_ATTRIBUTES = {
    **_END_ATTRIBUTES,
    "source_ohms": attr(Number(OHM), _of_entry("source_ohms", "source impedance")),
}
OUTPUT_ATTRIBUTES = {
    **_END_ATTRIBUTES,
    "loads": attr(ListOf(Number(OHM)), lambda facts, end: Lot(end.entry.loads)),
    "cable_farads": attr(Number(FARAD), _of_entry("cable_farads", "capacitance of the lead")),
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
    "given": attr(YesNo(), lambda facts, whole: facts.assembled is not None),
    "name": attr(Text(), lambda facts, whole: facts.assembled.file.name if facts.assembled is not None else ""),
    "build": attr(Number(PLAIN), lambda facts, whole: facts.assembled.file.build if facts.assembled else 1),
    "boards": attr(ListOf(Thing("board")), lambda facts, whole: Lot(facts.boards)),
    "parts": attr(ListOf(PART), lambda facts, whole: Lot(facts.parts)),
    "chassis_parts": attr(
        ListOf(PART), lambda facts, whole: Lot(tuple(p for p in facts.parts if _chassis(facts, p) is not None))
    ),
    "nets": attr(ListOf(NET), lambda facts, whole: Lot(facts.nets)),
    "rails": attr(ListOf(NET), lambda facts, whole: Lot(facts.nets_of("rail"))),
    "grounds": attr(ListOf(NET), lambda facts, whole: Lot(facts.nets_of("ground"))),
    "mains": attr(ListOf(NET), lambda facts, whole: Lot(facts.nets_of("mains"))),
    "connectors": attr(
        ListOf(Thing("part", frozenset({"connector"}))), lambda facts, whole: Lot(facts.by_kind.get("connector", ()))
    ),
    "cables": attr(ListOf(Thing("cable")), lambda facts, whole: Lot(facts.assembled.leads if facts.assembled else ())),
    "wires": attr(ListOf(Thing("wire")), lambda facts, whole: Lot(facts.assembled.wires if facts.assembled else ())),
    "inputs": attr(ListOf(Thing("signal input")), lambda facts, whole: Lot(signal_ends(facts, outputs=False))),
    "outputs": attr(ListOf(Thing("signal output")), lambda facts, whole: Lot(signal_ends(facts, outputs=True))),
    "case": attr(
        Thing("case"), lambda facts, whole: CaseOf() if facts.assembled and facts.assembled.file.case else None
    ),
    "targets": attr(Thing("targets"), lambda facts, whole: Wanted()),
    "cost": attr(Number(EURO), _cost),
    "budget": attr(Number(EURO), _budget),
    "ambient": attr(Number(CELSIUS), _ambient),
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
