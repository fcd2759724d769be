"""Parts that a net bypasses: both ends of a part, of a coil, a winding or a track are on it, so nothing flows there."""

from __future__ import annotations

from netcheck.circuit.conduction import groups_of
from netcheck.circuit.model import Circuit, Net, Part, Pin
from netcheck.ground.names import natural_key


def bypassed_by(circuit: Circuit, net: Net) -> tuple[Part, ...]:
    """Fitted parts with a conducting way through them that begins and ends on one net, in natural order.

    A way is what `groups_of` gives: a two-ended part from end to end, a track of a potentiometer with its wiper, a
    coil, a winding, a transistor with all its electrodes, a regulator from input to output. Switches, jumpers and
    links are there to join and are told like the rest: a rule leaves them out.
    """
    keys = dict.fromkeys(circuit.pins[key].part for key in net.pins)
    found = [circuit.parts[key] for key in keys]
    return tuple(
        part
        for part in sorted(found, key=lambda part: natural_key(part.key))
        if part.fitted and any(_on_one(net, group.pins) for group in groups_of(part, part.ref))
    )


def _on_one(net: Net, pins: tuple[Pin, ...]) -> bool:
    return len(pins) > 1 and all(pin.net == net.key for pin in pins)
