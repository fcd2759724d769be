"""Which pins of a part are joined inside it, and where the drawing does not tell."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from netcheck.circuit.model import Part, Pin

TWO_ENDED = frozenset(
    {
        "resistor", "thermistor", "varistor", "photoresistor", "capacitor", "inductor", "ferrite", "fuse",
        "diode", "led", "zener", "surge diode", "lamp", "loudspeaker", "microphone", "motor", "battery", "source",
        "crystal",
    }
)  # fmt: skip
VARIABLE = frozenset({"potentiometer", "trimmer"})
SWITCHED = frozenset({"switch", "button", "relay", "jumper"})
BIPOLAR = frozenset({"npn", "pnp"})
FETS = frozenset({"nmos", "pmos", "njfet", "pjfet"})
INSULATED_GATE = frozenset({"nmos", "pmos"})
TRANSISTORS = BIPOLAR | FETS
AMPLIFIERS = frozenset({"opamp", "comparator", "buffer", "power amplifier", "transconductance amplifier"})
LINKS = frozenset({"link", "fuse", "ferrite"})  # next to no ohms at any frequency of the band
SERIES = LINKS | {"resistor", "inductor"}  # stands in a rail or a signal without being its load
PASSING = SERIES | {"capacitor", "switch", "relay", "jumper"}  # lets a signal through, contacts taken as closed
CLOSED_WORDS = ("bridged", "closed")

# A pin that is part of the housing or of a mechanism, not of what conducts.
_ASIDE = frozenset({"not connected", "shield", "coil", "switch contact", "heater"})
_BRIDGED = re.compile(r"bridged(\d+)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Group:
    """Pins of one part that conduct to each other; with reasons, perhaps only."""

    pins: tuple[Pin, ...]
    reasons: tuple[str, ...] = ()


def groups_of(part: Part, said: str, position: str = "") -> tuple[Group, ...]:
    """The pins of a part that are joined inside it, as far as direct or alternating current is concerned.

    Args:
        part: a part of any kind. Connectors, integrated circuits and parts of unknown kind join nothing.
        said: the part as it is named in reasons: "SW1", or "amp.SW1" among several boards.
        position: 'open' or 'closed' of a switch or jumper, or the pins that it joins ('1+2 4+5'), as an assembly tells
            it; '' when it is not told.

    Two-ended parts conduct from end to end, a diode either way; a potentiometer among its three pins; a transistor
    among all its electrodes but for an insulated gate; a winding in itself. What is not known gives a group with
    reasons.
    """
    pins = tuple(pin for pin in part.pins if pin.role not in _ASIDE)
    kind = part.kind
    if kind in TWO_ENDED:
        return _two_ended(pins, said)
    if kind in VARIABLE:
        return _tracks(pins, said)
    if kind == "link":
        return _whole(pins)
    if kind in SWITCHED:
        return _contacts(part, pins, said, position)
    if kind in BIPOLAR:
        return _whole(pins)
    if kind in FETS:
        return _channel(part, pins, said)
    if kind == "regulator":
        return _whole(tuple(pin for pin in pins if pin.role in ("input", "output")))
    if kind in ("bridge", "thyristor"):
        return _whole(pins)
    if kind == "optocoupler":
        lamp = tuple(pin for pin in pins if pin.role in ("anode", "cathode"))
        return _whole(lamp) + _whole(tuple(pin for pin in pins if pin.role in ("collector", "emitter", "base")))
    if kind == "transformer":
        return _windings(pins, said)
    if kind == "resistor network":
        return (Group(pins, (f"which pins of {said} belong to one resistor is not known",)),) if len(pins) > 1 else ()
    return ()


def _whole(pins: tuple[Pin, ...], *reasons: str) -> tuple[Group, ...]:
    return (Group(pins, reasons),) if len(pins) > 1 else ()


def _two_ended(pins: tuple[Pin, ...], said: str) -> tuple[Group, ...]:
    if len(pins) <= 2:
        return _whole(pins)
    return _whole(pins, f"which pins of {said} are joined inside is not known")


def _tracks(pins: tuple[Pin, ...], said: str) -> tuple[Group, ...]:
    """Each gang of a potentiometer on its own: by unit where given, else by threes of end, wiper, end."""
    if len(pins) <= 3:
        return _whole(pins)
    if all(pin.unit for pin in pins):
        return _by(pins, [pin.unit for pin in pins])
    threes = [pins[at : at + 3] for at in range(0, len(pins), 3)]
    if all(sorted(pin.role for pin in three) == ["end", "end", "wiper"] for three in threes):
        return tuple(Group(three) for three in threes)
    return _whole(pins, f"which pins of {said} belong to one gang is not known")


def _by(pins: tuple[Pin, ...], names: Iterable[str]) -> tuple[Group, ...]:
    gathered: dict[str, list[Pin]] = {}
    for pin, name in zip(pins, names, strict=True):
        gathered.setdefault(name, []).append(pin)
    return tuple(Group(tuple(group)) for group in gathered.values() if len(group) > 1)


def _windings(pins: tuple[Pin, ...], said: str) -> tuple[Group, ...]:
    if all(pin.unit for pin in pins):
        return _by(pins, [pin.unit for pin in pins])
    return _whole(pins, f"which pins of {said} belong to one winding is not known")


def _channel(part: Part, pins: tuple[Pin, ...], said: str) -> tuple[Group, ...]:
    if part.kind not in INSULATED_GATE:
        return _whole(pins)
    if any(not pin.role for pin in pins):
        return _whole(pins, f"the pins of {said} are not known: which is its gate?")
    return _whole(tuple(pin for pin in pins if pin.role in ("source", "drain")))


def _contacts(part: Part, pins: tuple[Pin, ...], said: str, position: str) -> tuple[Group, ...]:
    """Contacts of a switch, relay or jumper; the coil of a relay conducts by itself, each pole of a switch too."""
    coil = _whole(tuple(pin for pin in part.pins if pin.role == "coil"))
    if position == "open":
        return coil
    if "+" in position:
        groups = [frozenset(group.split("+")) for group in position.split()]
        joined = (tuple(pin for pin in pins if pin.number in group) for group in groups)
        return coil + tuple(group for each in joined for group in _whole(each))
    poles = {pin.unit for pin in pins}
    if part.kind in ("switch", "button", "relay") and len(poles) > 1 and "" not in poles:
        sure = position == "closed" and len(pins) == 2 * len(poles)
        doubt = () if sure else (f"the position of {said} is not given",)
        return coil + tuple(Group(group.pins, doubt) for group in _by(pins, [pin.unit for pin in pins]))
    if position == "closed" and len(pins) == 2:
        return coil + _whole(pins)
    unknown = f"the position of {said} is not given"
    closed = _closed_pins(part, pins) if part.kind == "jumper" else ()
    if not closed:
        return coil + _whole(pins, unknown)
    if len(closed) == len(pins):
        return coil + _whole(closed)
    return coil + _whole(closed) + _whole(pins, unknown)


def _closed_pins(part: Part, pins: tuple[Pin, ...]) -> tuple[Pin, ...]:
    """Pins of a jumper that is drawn closed: its value, symbol or footprint is named so, and for which pins."""
    for text in (part.value.text, part.library_part, part.footprint):
        named = _BRIDGED.search(text)
        if named:
            return tuple(pin for pin in pins if pin.number in set(named[1]))
        if any(word in text.lower() for word in CLOSED_WORDS):
            return pins if len(pins) == 2 else ()
        if "open" in text.lower():
            return ()
    return ()
