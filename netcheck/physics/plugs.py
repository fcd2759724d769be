"""Plugs and sockets as they stand side by side on a board: what fits where, and what a socket does without a plug."""

from __future__ import annotations

import re

from netcheck.circuit.model import Circuit, Part, Pin
from netcheck.ground.names import natural_key
from netcheck.physics.mating import Contact

# A contact that a plug lifts is called after the spring that rests on it: TN, RN, SN; R2N for a second ring.
_RESTS = re.compile(r"([TRS]\d?)N", re.IGNORECASE)
_SPRINGS = frozenset({"tip", "ring", "sleeve"})


def rests_on(part: Part, contact: Pin) -> Pin | None:
    """The spring of a jack that rests on one of its switch contacts as long as no plug is in.

    Returns:
        By the name of the contact; where that does not tell, the tip of a jack with one spring besides the sleeve.
        None when it cannot be told.
    """
    for text in (contact.number, contact.name):
        if told := _RESTS.fullmatch(text):
            named = [pin for pin in part.pins if told[1].upper() in (pin.number.upper(), pin.name.upper())]
            if len(named) == 1:
                return named[0]
    springs = [pin for pin in part.pins if pin.role in _SPRINGS and pin.role != "sleeve"]
    return springs[0] if len(springs) == 1 else None


def same_socket(a: Part, b: Part) -> bool:
    """Whether the plug of one connector also goes into the other: one family, as many contacts, rows and pitch.

    A pitch that is not known differs from none.
    """
    counted = [part.positions or len(part.pins) for part in (a, b)]
    pitches = {part.pitch for part in (a, b) if part.pitch is not None}
    return a.family == b.family and counted[0] == counted[1] and a.rows == b.rows and len(pitches) < 2


def exchanged(circuit: Circuit, socket: Part, other: Part) -> tuple[Contact, ...]:
    """What meets at each pin of a socket when the plug of another connector is put there.

    The plug is taken to carry what its own connector has at each pin.
    """
    plug = {pin.number: pin for pin in other.pins}
    found = []
    for pin in sorted(socket.pins, key=lambda pin: natural_key(pin.number)):
        there = plug.get(pin.number)
        found.append(Contact(pin.key, there.number if there else "", pin.net, there.net if there else None))
    return tuple(found)
