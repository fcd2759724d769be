"""Circuits of published examples as networks, ready for the program's own functions."""

from __future__ import annotations

import math

import numpy as np

from netcheck.physics.network.elements import (
    AmplifierModel,
    Bipolar,
    BipolarModel,
    Capacitor,
    Element,
    OperationalAmplifier,
    Resistor,
)
from netcheck.physics.network.operating import Network, OperatingPoint, operating_point
from netcheck.physics.network.response import SmallSignal
from netcheck.physics.paths import crossing

IDEAL = AmplifierModel(gain=1e9, bandwidth=None, output_ohms=1e-2)
RAILS = {"V+": 15.0, "V-": -15.0, "0": 0.0, "IN": 0.0}
AT_26_MILLIVOLTS = 0.026 * 1.602176634e-19 / 1.380649e-23  # kelvin at which kT/q is the 26 mV of the text book

R, C = Resistor, Capacitor


def amplifier(out: str, plus: str, minus: str, model: AmplifierModel = IDEAL, name: str = "U1") -> OperationalAmplifier:
    return OperationalAmplifier(name, out, plus, minus, "V+", "V-", model)


def linear(*elements: Element, known: dict[str, float] | None = None) -> SmallSignal:
    network = Network(elements, known or RAILS)
    return SmallSignal(network, operating_point(network))


def gain(small: SmallSignal, output: str, hertz: float, source: str = "IN") -> complex:
    return complex(small.transfer(source, output, np.array([hertz])).values[0])


def decibels(value: complex) -> float:
    return 20 * math.log10(abs(value))


def corner(small: SmallSignal, output: str, side: str, near: float, drop: float = 10 * math.log10(2)) -> float:
    """Where the response has fallen by 3.01 dB from what it is at 1 kHz, found on a fine grid round a frequency."""
    frequencies = np.unique(np.concatenate([np.logspace(math.log10(near) - 1, math.log10(near) + 1, 4001), [1e3]]))
    transfer = small.transfer("IN", output, frequencies)
    level = decibels(gain(small, output, 1e3)) - drop
    found = crossing((frequencies, transfer.decibels), level, side)
    assert found is not None
    return found


def pole_pair(small: SmallSignal) -> tuple[float, float]:
    """Natural frequency in Hz and Q of the complex poles of a network, from its own matrices."""
    inverse = np.linalg.solve(small.conductance, small.capacitance)
    rates = [-1 / value for value in np.linalg.eigvals(inverse) if abs(value) > 1e-12]
    pole = max((complex(rate) for rate in rates if abs(rate.imag) > 1e-3), key=lambda rate: rate.imag)
    return abs(pole) / (2 * math.pi), abs(pole) / (-2 * pole.real)


def real_pole(small: SmallSignal) -> float:
    """The slowest pole of a network in Hz, from its own matrices."""
    inverse = np.linalg.solve(small.conductance, small.capacitance)
    return float(1 / (2 * math.pi * max(abs(value) for value in np.linalg.eigvals(inverse))))


def emitter_stage(
    supply: float, top: float, bottom: float | None, collector: float, emitter: float, beta: float, early: float | None
) -> tuple[Network, OperatingPoint]:
    """A common-emitter stage whose transistor has 0.7 V between base and emitter at its working current."""
    wanted = (supply * bottom / (top + bottom) - 0.7) / emitter if bottom else (supply - 0.7) / top * beta
    model = BipolarModel(wanted * math.exp(-0.7 / 0.026), beta, 1.0, early, kelvin=AT_26_MILLIVOLTS)
    parts: list[Element] = [
        R("R1", "V", "B", top), R("RC", "V", "C", collector), Bipolar("Q1", "C", "B", "E", model),
        C("C1", "IN", "B", 1.0),
    ]  # fmt: skip
    parts += [R("R2", "B", "0", bottom)] if bottom else []
    parts += [R("RE", "E", "0", emitter), C("C2", "E", "0", 1.0)] if emitter else [R("RE", "E", "0", 1e-3)]
    network = Network(tuple(parts), {"V": supply, "0": 0.0, "IN": 0.0})
    return network, operating_point(network)
