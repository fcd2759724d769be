"""What the wiring of an assembly is to the facts: joints of plugs, conductors between grounds, and which of these a
signal is measured against."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from netcheck.circuit.assemble import Assembled, Lead, Wire
from netcheck.circuit.model import Part
from netcheck.circuit.words import Words
from netcheck.intake.assembly import CHASSIS
from netcheck.language.values import Unknown
from netcheck.physics.conductors import Conductor
from netcheck.physics.mating import GROUNDS, Joint

# Resistivity of copper at 20 degrees Celsius, in ohm metres. Source: IEC 60028 (1.7241e-8; from memory).
COPPER = 1.7241e-8
METRE, HOUSE = "metre of thin wire", "way through the house"
LONGEST, SCREW = "longest lead in a box", "screw to the case"

# Connectors whose signals are measured wire against wire; the shell carries none.
_BALANCED = frozenset({"xlr"})
# Chassis parts whose wires may carry signals.
_OF_SIGNALS = frozenset({"connector", "potentiometer", "switch"})


def wire_ohms(length: float, area: float) -> float:
    """Resistance of a copper wire in ohms, at 20 degrees Celsius.

    Args:
        length: in metres. area: in square metres.

    Raises:
        ValueError: if the area is not positive.

    Source: rho l / A.

    >>> round(wire_ohms(0.12, 0.25e-6), 4)
    0.0083
    """
    if area <= 0:
        raise ValueError("a wire without area conducts nothing")
    return COPPER * length / area


def joints(assembled: Assembled) -> tuple[Joint, ...]:
    """Connectors that a cable joins, or that are plugged together."""
    return tuple(
        Joint(lead.near, lead.far, lead.name, lead.numbers, lead.keyed)
        for lead in assembled.leads
        if CHASSIS not in (lead.near.split("/")[0], lead.far.split("/")[0])
    )


def conductors_of(assembled: Assembled, words: Words) -> tuple[Conductor, ...]:
    """Every wire, screen and bond as a conductor; those that join no grounds are left out by who asks."""
    return tuple(
        Conductor(wire.key, wire.kind, wire.nets, ohms_of(wire, words), _cable(wire)) for wire in assembled.wires
    )


def _cable(wire: Wire) -> str:
    """The cable that a wire is part of; what is plugged in from outside hangs on a lead of its own."""
    if wire.kind == "outside":
        return f"lead at {wire.key.removeprefix('outside/')}"
    return wire.cable.removeprefix("cable/")


def ohms_of(wire: Wire, words: Words) -> float | Unknown:
    """Resistance of a wire in ohms: computed where length and gauge are told, else between bounds."""
    most = words.limit(METRE).value
    if wire.doubt:
        return Unknown((wire.doubt,), low=0.0)
    if wire.kind in ("earth", "outside"):
        return Unknown(
            (f"the resistance of {wire.key.split('/', 1)[1]} is not given",), low=0.0, high=words.limit(HOUSE).value
        )
    if wire.length is not None and wire.area is not None:
        return wire_ohms(wire.length, wire.area)
    if wire.kind == "case":
        doubt = f"the resistance of the bond at {wire.key.split('/', 1)[1]} is not given"
        return Unknown((doubt,), low=0.0, high=words.limit(SCREW).value)
    return Unknown((_missing(wire),), low=0.0, high=most * max(1.0, wire.length or 0.0))


def _missing(wire: Wire) -> str:
    """What is not told of a wire, or of the whole lead that it is part of."""
    name = wire.cable.removeprefix("cable/") or f"wire from {wire.key.split('/', 1)[1]}"
    lacking = [word for word, value in (("length", wire.length), ("gauge", wire.area)) if value is None]
    what = " and ".join(lacking) if len(lacking) > 1 else f"the {lacking[0]}"
    return f"{what} of the {name} {'are' if len(lacking) > 1 else 'is'} not given"


def references(assembled: Assembled) -> frozenset[str]:
    """Keys of the conductors against which a signal is measured where it is received.

    They are the grounds of a lead that carries signals, unless these are balanced; the grounds among the wires of a
    chassis part (a socket, a control) of which another carries a signal; and the outer conductor of what is plugged
    into a socket, unless the socket is a balanced one: its declared return is no ground, or it is an XLR.
    """
    found: set[str] = set()
    for lead in assembled.leads:
        if not lead.balanced and carries_signal(assembled, lead):
            found |= {wire.key for wire in lead.wires if _grounded(assembled, wire)}
    for wires in _chassis_wires(assembled).values():
        if any(_signal(assembled, wire) for wire in wires):
            found |= {wire.key for wire in wires if _grounded(assembled, wire) and not _balanced(assembled, wire)}
    found |= {wire.key for wire in assembled.wires if wire.kind == "outside" and not _balanced(assembled, wire)}
    return frozenset(found)


def signal_ends(assembled: Assembled) -> frozenset[str]:
    """Keys of the pins where the file says that signals come in and go out."""
    file = assembled.file
    told = [end.at for end in file.inputs] + [end.at for end in file.outputs]
    return frozenset(assembled.pins[spot.text] for spot in told)


def carries_signal(assembled: Assembled, lead: Lead) -> bool:
    """Whether one of the wires of a lead joins two nets of which none is a supply or a ground."""
    return any(_signal(assembled, wire) for wire in lead.wires)


def _signal(assembled: Assembled, wire: Wire) -> bool:
    return all(assembled.circuit.nets[net].role == "signal" for net in wire.nets)


def _chassis_wires(assembled: Assembled) -> Mapping[str, list[Wire]]:
    """Wires from chassis parts that handle signals to boards, by key of the part."""
    found: dict[str, list[Wire]] = {}
    for wire in assembled.wires:
        pin = assembled.circuit.pins.get(wire.ends[0])
        part = assembled.circuit.parts[pin.part] if pin is not None and not wire.cable else None
        if wire.kind == "wire" and part is not None and part.kind in _OF_SIGNALS and part.board == CHASSIS:
            found.setdefault(part.key, []).append(wire)
    return found


def _grounded(assembled: Assembled, wire: Wire) -> bool:
    return all(assembled.circuit.nets[net].role in GROUNDS for net in wire.nets)


def _balanced(assembled: Assembled, wire: Wire) -> bool:
    """Whether the signals at a socket are measured between two pins of it, neither of them on the outer conductor."""
    pin = assembled.circuit.pins.get(wire.ends[0])
    if pin is None:
        return False
    part = assembled.circuit.parts[pin.part]
    returns = list(_returns(assembled, part))
    return pin.net not in returns if returns else part.family in _BALANCED


def _returns(assembled: Assembled, part: Part) -> Iterator[str]:
    """Nets that the file names as the returns of what comes in or goes out at a part."""
    file, pins = assembled.file, assembled.circuit.pins
    ends = [(end.at, end.back) for end in file.inputs] + [(end.at, end.back) for end in file.outputs]
    for at, back in ends:
        if back is not None and pins[assembled.pins[at.text]].part == part.key:
            yield pins[assembled.pins[back.text]].net
