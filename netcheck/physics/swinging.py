"""How far an amplifier's output can swing between its supplies."""

from __future__ import annotations

from netcheck.circuit.model import Amplifier, Circuit
from netcheck.language.values import Unknown, reasons_of
from netcheck.physics.devices import figure
from netcheck.physics.volts import spoken_net, volts_range


def supply_ends(circuit: Circuit, amplifier: Amplifier, sign: str) -> tuple[float, float] | Unknown:
    """Lowest and highest volts of an amplifier's supply, 'plus' or 'minus', with the tolerance of what makes them."""
    pin = amplifier.supply_plus if sign == "plus" else amplifier.supply_minus
    if pin is None:
        return Unknown((f"the supply pins of {circuit.parts[amplifier.part].ref} are not known",))
    net = circuit.nets[circuit.pins[pin].net]
    low, high = volts_range(circuit, net.key)
    if low is None or high is None:
        return Unknown((f"the volts of {spoken_net(circuit, net)} are not known",))
    return low, high


def largest_swing(circuit: Circuit, amplifier: Amplifier) -> float | Unknown:
    """The peak in volts of the largest sine that an output can possibly give, with high supplies and a light load.

    Half of what lies between the limits of the output: a signal that rests in the middle gets that far. Where the
    supplies are not known it is no more than half of what the part stands.
    """
    record = circuit.parts[amplifier.part].record
    high, low = supply_ends(circuit, amplifier, "plus"), supply_ends(circuit, amplifier, "minus")
    if isinstance(high, Unknown) or isinstance(low, Unknown):
        most = figure(record, "supply_total_most", 1)
        return Unknown(reasons_of(high, low), 0.0, None if most is None else most / 2)
    near = [figure(record, name, -1) for name in ("output_from_plus", "output_from_minus")]
    reach = high[1] - low[0] - sum(one or 0.0 for one in near)
    return max(reach, 0.0) / 2
