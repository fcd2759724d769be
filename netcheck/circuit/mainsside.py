"""The mains side of a board: what is galvanically on an inlet or on the primary of a mains transformer.

Never told by a name: the neutral may be called Earth, and a symbol called AC may be 15 V.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Mapping

from netcheck.circuit.draft import Draft, Place
from netcheck.circuit.model import Part, Pin
from netcheck.ground.names import natural_key


def mains_side(draft: Draft) -> dict[str, str]:
    """Nets on the mains side, each with the reason, a clause."""
    because = {net: f"{draft.told_by(net)} as mains" for net, told in draft.told.items() if told[0] == "mains"}
    for part in draft.parts:
        for net, reason in _entries(part, draft):
            if net in draft.nets and draft.told.get(net, ("mains",))[0] == "mains":
                because.setdefault(net, reason)
    for net, origin in _spread(because, draft).items():
        because.setdefault(net, f"not insulated from {draft.label(origin)}, which is on the mains side")
    return because


def _spread(start: Mapping[str, str], draft: Draft) -> dict[str, str]:
    """What mains reaches through parts that do not insulate: net -> the net that it comes from.

    Resistors that add up to more than the ohms named 'mains insulation' are no way for it: what they let through is
    hardly felt.
    """
    kinds, most = draft.words.group("mains conductors"), draft.words.limit("mains insulation").value
    barred = {net for net, told in draft.told.items() if told[0] != "mains"} | set(earth_nets(draft))
    waiting = [(0.0, natural_key(net), net, net) for net in start]
    heapq.heapify(waiting)
    came: dict[str, str] = {}
    while waiting:
        ohms, _, net, origin = heapq.heappop(waiting)
        if net in came:
            continue
        came[net] = origin
        for near, far in draft.across(net, kinds):
            there = ohms + _ohms(near.part)
            if far.pin.net not in came and far.pin.net not in barred and there <= most and _conducts(near, far):
                heapq.heappush(waiting, (there, natural_key(far.pin.net), far.pin.net, net))
    return came


def _ohms(part: Part) -> float:
    """Ohms of a fixed resistor; 0 for anything that may have none."""
    return part.value.number or 0.0 if part.kind == "resistor" else 0.0


def earth_nets(draft: Draft) -> dict[str, str]:
    """Nets on the protective earth contact of an inlet, each with the reason."""
    names = draft.words.text_words("earth pins")
    return {
        pin.net: f"on the earth contact of {part.ref}"
        for part in draft.parts
        if part.kind == "inlet"
        for pin in part.pins
        if _is_earth(pin, names)
    }


def _entries(part: Part, draft: Draft) -> Iterator[tuple[str, str]]:
    if part.kind == "inlet":
        names = draft.words.text_words("earth pins")
        for pin in part.pins:
            if pin.role != "not connected" and not _is_earth(pin, names):
                yield pin.net, f"on {part.ref}, an inlet"
    if part.kind == "transformer" and is_mains_transformer(part, draft):
        primary = draft.words.text_words("primary pins")
        for pin in part.pins:
            if _called(pin) in primary:
                yield pin.net, f"on the primary of {part.ref}"


def is_mains_transformer(part: Part, draft: Draft) -> bool:
    """Whether value or description of a transformer name a mains voltage."""
    text = f"{part.value.text} {part.description} {part.library_part}".upper()
    return any(word in text for word in draft.words.text_words("mains windings"))


def _called(pin: Pin) -> str:
    """What a pin is called, upper case: its name, else its number."""
    return (pin.name.strip("~ ") or pin.number).upper()


def _is_earth(pin: Pin, names: frozenset[str]) -> bool:
    return pin.role in ("ground", "shield") or _called(pin) in names


def _conducts(near: Place, far: Place) -> bool:
    """Whether two pins of one part have no insulation between them.

    The coil of a relay is insulated from its contacts, so that one whose pins are not known is taken for a barrier;
    poles of a switch that are known apart are insulated from each other.
    """
    if near.part.kind == "relay":
        coils = [place.pin.role == "coil" for place in (near, far)]
        return coils[0] == coils[1] and bool(near.part.by_role("coil"))
    if near.part.kind in ("switch", "button") and near.pin.unit and far.pin.unit:
        return near.pin.unit == far.pin.unit
    return True
