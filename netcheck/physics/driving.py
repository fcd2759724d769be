"""Which pins set the voltage of their net, as far as their role and what the symbol says of them tells."""

from __future__ import annotations

from netcheck.circuit.model import Circuit, Pin

# Parts that may drive a net from any of their pins, as far as a netlist tells.
_INSIDES_UNKNOWN = frozenset(
    {"logic", "microcontroller", "integrated circuit", "module", "converter", "transistor array", "optocoupler"}
    | {"valve", "unknown", "power amplifier", "transconductance amplifier"}
)
_DRIVES_NOTHING = frozenset(
    {"supply plus", "supply minus", "ground", "plus", "minus", "input", "not connected", "base", "gate", "grid"}
)
# A pin of a programmed part that can go either way is no input where another part waits for a voltage.
_PROGRAMMED = frozenset({"microcontroller", "module"})
_EITHER_WAY = frozenset({"bidirectional", "bidi"})
_CARRIES_CURRENT = frozenset({"collector", "emitter", "drain", "source", "plate", "cathode", "anode"})


def drives(circuit: Circuit, pin: Pin) -> bool | None:
    """Whether a pin sets the direct voltage of its net, or takes part in setting it.

    Returns:
        True for an output of any part, for a pin of a programmed part that can be one, and for the main electrodes of
        transistors in a package; False for inputs, supply pins and all pins of parts that only pass on what they are
        given; None for the other pins of packages of whose insides nothing is known (an analogue switch, a converter)
        and for the reference of a buffer, which some types bring out and others want to be given.
    """
    kind = circuit.part_of(pin).kind
    if kind == "buffer" and pin.role == "reference":
        return None
    if pin.role == "output" or (kind in _INSIDES_UNKNOWN and pin.role in _CARRIES_CURRENT):
        return True
    if kind not in _INSIDES_UNKNOWN or pin.role in _DRIVES_NOTHING or pin.type == "input":
        return False
    if kind in _PROGRAMMED and pin.type.lower() in _EITHER_WAY:
        return True
    return True if pin.type in ("output", "power_out", "tri_state") else None
