"""What the feedback network of an amplifier makes of its gain over frequency, whatever stands before and behind."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from netcheck.circuit.model import Amplifier
from netcheck.physics.devices import NOMINAL, Setting
from netcheck.physics.loops import Loops, Reasons, Span, free, linear, span
from netcheck.physics.network.elements import Inductor, OperationalAmplifier

MIDDLE = 1000.0


def stage_gains(
    loops: Loops, amplifier: Amplifier, frequencies: Sequence[float], inverting: bool, setting: Setting = NOMINAL
) -> list[float] | Reasons:
    """Magnitudes of an amplifier's gain with its loop closed, or why there are none.

    Args:
        inverting: for one ampere into the node of the - input, in ohms; else for one volt at the + input.
    """
    loop = loops.network(amplifier)
    if isinstance(loop, tuple):
        return loop
    if inverting and loop.own.minus not in loop.nodes:
        return (f"nothing comes back to the - input of {loops.said(amplifier)}",)
    small = linear([*loops.elements(loop, setting), free(loop.own)], loop)
    rows = [one.name for one in small.network.elements if isinstance(one, Inductor | OperationalAmplifier)]
    right = np.zeros(len(small.conductance), dtype=complex)
    if inverting:
        right[small.index[loop.own.minus]] = 1.0
    else:
        right[len(small.nodes) + rows.index(loop.own.name)] = loop.own.model.gain
    found = []
    for hertz in frequencies:
        try:
            states = np.linalg.solve(small.conductance + 2j * math.pi * hertz * small.capacitance, right)
        except np.linalg.LinAlgError:
            return (f"the equations of the loop of {loops.said(amplifier)} have no solution",)
        found.append(float(abs(states[small.index[loop.own.output]])))
    return found


def feedback_loss(loops: Loops, amplifier: Amplifier, hertz: float, inverting: bool) -> Span | Reasons:
    """How much less an amplifier's gain is at a frequency than at 1 kHz, in dB."""
    loop = loops.network(amplifier)
    if isinstance(loop, tuple):
        return loop
    losses = []
    for setting in loop.settings:
        found = stage_gains(loops, amplifier, (MIDDLE, hertz), inverting, setting)
        if isinstance(found, tuple):
            return found
        if min(found) <= 0 or not all(math.isfinite(one) for one in found):
            return (f"{loops.said(amplifier)} has no gain",)
        losses.append(20 * math.log10(found[0] / found[1]))
    return span(losses, loop.doubts)
