"""How far the volts of a junction may go in one iteration of Newton's method.

The current of a junction grows tenfold with each 60 mV, so that a step by its tangent overshoots by volts or by orders
of magnitude. Held back, a junction moves by the logarithm of the step; its current is taken where it was held, and from
there on along the tangent. Source: L. W. Nagel, SPICE2, memorandum UCB/ERL M520, 1975, from memory.
"""

from __future__ import annotations

import math

from netcheck.physics.network.elements import Bipolar, Diode, Fet, thermal_volts

Junctions = tuple[float, ...]
FREE_STEP = 2.0  # times the thermal volts: steps that are not held back


def held_back(
    element: Diode | Bipolar | Fet, at: tuple[float, ...], last: Junctions | None
) -> tuple[tuple[float, ...], Junctions]:
    """Volts of the terminals at which to take an element, and those of its junctions for the next time.

    Args:
        at: volts of its terminals as Newton's method wants them. last: of its junctions, None the first time: then
            junctions that are to conduct begin where they bend most.
    """
    if isinstance(element, Diode):
        return _diode(element, at, last)
    if isinstance(element, Bipolar):
        sign = -1.0 if element.pnp else 1.0
        collector, base, emitter = at
        scale = thermal_volts(element.model.kelvin)
        knee = _knee(element.model.saturation, scale)
        forward, backward = sign * (base - emitter), sign * (base - collector)
        if last is None:
            forward, backward = knee, 0.0
        else:
            forward, backward = _step(forward, last[0], scale, knee), _step(backward, last[1], scale, knee)
        return (base - sign * backward, base, base - sign * forward), (forward, backward)
    return at, ()


def begun(element: Diode | Bipolar | Fet, at: tuple[float, ...]) -> Junctions:
    """Volts of the junctions where something is known of the terminals: as these have it, as far as that can be."""
    if isinstance(element, Diode):
        model = element.model
        return (min(at[0] - at[1], _knee(model.saturation, model.emission * thermal_volts(model.kelvin))),)
    if isinstance(element, Bipolar):
        sign = -1.0 if element.pnp else 1.0
        knee = _knee(element.model.saturation, thermal_volts(element.model.kelvin))
        return tuple(min(sign * (at[1] - other), knee) for other in (at[2], at[0]))
    return ()


def _diode(element: Diode, at: tuple[float, ...], last: Junctions | None) -> tuple[tuple[float, ...], Junctions]:
    model, across = element.model, at[0] - at[1]
    thermal = thermal_volts(model.kelvin)
    scale = model.emission * thermal
    knee = _knee(model.saturation, scale)
    if last is None:
        across = knee
    elif model.breakdown is not None and across < 10 * thermal - model.breakdown:
        back = _step(-across - model.breakdown, -last[0] - model.breakdown, thermal, _knee(model.knee, thermal))
        across = -back - model.breakdown
    else:
        across = _step(across, last[0], scale, knee)
    return (at[0], at[0] - across), (across,)


def _knee(saturation: float, scale: float) -> float:
    """Volts at which the current of a junction bends most: where its radius of curvature is least."""
    return scale * math.log(scale / (math.sqrt(2) * saturation))


def _step(new: float, old: float, scale: float, knee: float) -> float:
    """Volts of a junction after a step, held back where it conducts.

    >>> round(_step(5.0, 0.6, 0.026, 0.6), 3), _step(-3.0, 0.6, 0.026, 0.6)
    (0.734, -3.0)
    """
    if new <= knee or abs(new - old) <= FREE_STEP * scale:
        return new
    if old <= 0:
        return scale * math.log(new / scale)
    change = 1 + (new - old) / scale
    return old + scale * math.log(change) if change > 0 else knee
