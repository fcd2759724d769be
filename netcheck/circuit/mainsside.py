"""The mains side of a board: what is galvanically on an inlet or on the primary of a mains transformer.

Never told by a name: the neutral may be called Earth, and a symbol called AC may be 15 V.
"""

from __future__ import annotations

from collections.abc import Iterator

from netcheck.circuit.draft import Draft, Place, spread
from netcheck.circuit.model import Part


def mains_side(draft: Draft) -> dict[str, str]:
    """Nets on the mains side, each with the reason, a clause."""
    because = {net: f"{draft.told_by(net)} as mains" for net, told in draft.told.items() if told[0] == "mains"}
    for part in draft.parts:
        for net, reason in _entries(part, draft):
            if net in draft.nets and draft.told.get(net, ("mains",))[0] == "mains":
                because.setdefault(net, reason)
    kinds = draft.words.group("mains conductors")
    barred = {net for net, told in draft.told.items() if told[0] != "mains"} | set(earth_nets(draft))

    def step(net: str) -> Iterator[str]:
        for near, far in draft.across(net, kinds):
            if far.pin.net not in barred and _conducts(near, far):
                yield far.pin.net

    for net, origin in spread(because, step).items():
        because.setdefault(net, f"not insulated from {draft.label(origin)}, which is on the mains side")
    return because


def earth_nets(draft: Draft) -> dict[str, str]:
    """Nets on the protective earth contact of an inlet, each with the reason."""
    names = draft.words.text_words("earth pins")
    return {
        pin.net: f"on the earth contact of {part.ref}"
        for part in draft.parts
        if part.kind == "inlet"
        for pin in part.pins
        if pin.role in ("ground", "shield") or pin.name.upper() in names
    }


def _entries(part: Part, draft: Draft) -> Iterator[tuple[str, str]]:
    if part.kind == "inlet":
        names = draft.words.text_words("earth pins")
        for pin in part.pins:
            if pin.role not in ("ground", "shield", "not connected") and pin.name.upper() not in names:
                yield pin.net, f"on {part.ref}, an inlet"
    if part.kind == "transformer" and is_mains_transformer(part, draft):
        primary = draft.words.text_words("primary pins")
        for pin in part.pins:
            if pin.name.upper() in primary:
                yield pin.net, f"on the primary of {part.ref}"


def is_mains_transformer(part: Part, draft: Draft) -> bool:
    """Whether value or description of a transformer name a mains voltage."""
    text = f"{part.value.text} {part.description} {part.library_part}".upper()
    return any(word in text for word in draft.words.text_words("mains windings"))


def _conducts(near: Place, far: Place) -> bool:
    """Whether two pins of one part have no insulation between them: a relay's coil and contacts have."""
    if near.part.kind == "relay":
        coils = [place.pin.role == "coil" for place in (near, far)]
        return coils[0] == coils[1]
    return True
