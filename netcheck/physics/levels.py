"""The largest signal of a path, and the heat of its parts while it is driven.

The network is solved again with its input moved by steps, each capacitor taken as what it is at 1 kHz: it keeps its
direct volts and passes changes with the magnitude of its conductance there. That is exact for coupling capacitors,
which hold their charge, and an estimate where a capacitor turns the phase at 1 kHz.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from netcheck.ground.units import DECIBEL_AT_MILLIWATT, Quantity
from netcheck.physics.behaviour import NO_LIMIT, LoadLevel
from netcheck.physics.moving import CLIPPED, Moved
from netcheck.physics.network.elements import CurrentSource, Element
from netcheck.physics.network.operating import OperatingPoint, terminals
from netcheck.physics.pathmodel import SHORT_OHMS, PathModel
from netcheck.physics.points import Points, currents_of, heat_of
from netcheck.physics.shorting import shorted

Real = NDArray[np.float64]

SHORTED_GAIN = 0.1  # a gain below this says little about how far the input goes
HALVINGS = 5
STEPS = tuple(step / 6 for step in range(1, 7))  # of what the supply would allow
SMALL_STEPS = tuple(2.0**-step for step in range(12, -1, -1))
CYCLE = np.linspace(0.0, 2 * math.pi, 360, endpoint=False)


def slew_needed(peak: float, hertz: float) -> float:
    """Fastest change of a sine, in V/s. Source: derivative of the sine.

    >>> round(slew_needed(1.414, 20e3))
    177688
    """
    return 2 * math.pi * hertz * peak


def full_power_bandwidth(slew: float, peak: float) -> float:
    """Highest frequency of a sine of that peak that a slew rate in V/s allows. Source: as `slew_needed`.

    >>> round(full_power_bandwidth(24e6, 1.0) / 1e6, 2)
    3.82
    """
    return slew / (2 * math.pi * peak)


def at_power(watts: float, ohms: float) -> LoadLevel:
    """The sine that gives a power into a load. Source: Ohm and Joule.

    >>> level = at_power(0.1, 32.0)
    >>> round(level.volts, 3), round(level.amps, 3)
    (1.789, 0.079)
    """
    return _level(math.sqrt(2 * watts * ohms), ohms, "", 0.0)


def sound_level(volts: float, ohms: float, sensitivity: Quantity) -> float:
    """Sound pressure of a headphone or loudspeaker at an rms voltage, in dB SPL.

    Args:
        ohms: of the transducer. sensitivity: in dB SPL at 1 mW or at 1 V.

    Source: S + 10 log10(P / 1 mW), Texas Instruments, "Amp up your cans", part 1.

    >>> from netcheck.ground.units import read_quantity
    >>> round(sound_level(1.789, 32.0, read_quantity("90 dB/mW")), 1)
    110.0
    >>> round(sound_level(1.0, 32.0, read_quantity("110 dB/V")), 1)
    110.0
    """
    if volts <= 0:
        return -math.inf
    if sensitivity.unit == DECIBEL_AT_MILLIWATT:
        return sensitivity.value + 10 * math.log10(volts**2 / ohms / 1e-3)
    return sensitivity.value + 20 * math.log10(volts)


def _level(peak: float, ohms: float, limit: str, gain: float) -> LoadLevel:
    ohms = max(ohms, SHORT_OHMS)
    amps = peak / ohms if math.isfinite(ohms) else 0.0
    return LoadLevel(ohms, peak / math.sqrt(2), amps, peak * amps / 2, limit, gain)


@dataclass(frozen=True)
class Driven:
    """A path with a load, moved through what it can do.

    Attributes:
        level: the largest sine. outputs: volts of the output against rest, rising. watts: element -> heat at each.
        amps: element -> current into its first terminal at each; a collector or a drain is the first of its element.
        across: element -> volts from its first terminal to its last, from collector to emitter.
    """

    level: LoadLevel
    outputs: Real
    watts: Mapping[str, Real]
    amps: Mapping[str, Real] = field(default_factory=dict)
    across: Mapping[str, Real] = field(default_factory=dict)

    def heat(self, element: str, peak: float) -> float:
        """Mean watts of an element over a sine of that peak at the output."""
        at = np.interp(peak * np.sin(CYCLE), self.outputs, self.watts[element])
        return float(np.mean(at))

    def worst(self, element: str) -> tuple[float, float]:
        """The most mean watts over all sines up to the largest, rest included, and the peak at which they come."""
        peaks = np.linspace(0.0, self.level.volts * math.sqrt(2), 41)
        heats = [self.heat(element, float(peak)) for peak in peaks]
        most = int(np.argmax(heats))
        return heats[most], float(peaks[most])

    def most_amps(self, element: str) -> float:
        """The most current into an element's first terminal, either way, rest included."""
        return float(np.max(np.abs(self.amps[element])))

    def most_volts(self, element: str) -> float:
        """The most volts from an element's first terminal to its last, either way, rest included."""
        return float(np.max(np.abs(self.across[element])))


def drive(points: Points, made: PathModel, ohms: float) -> Driven | tuple[str, ...]:
    """Move a path with a load through what it can do; or why that cannot be found."""
    moved = Moved(points, made, ohms)
    if ohms <= SHORT_OHMS:
        found = shorted(moved)
        if isinstance(found, tuple):
            return found
        return _driven(moved, list(found.points), found.zero, _level(found.peak, ohms, found.limit, -math.inf))
    begun = moved.nudge()
    if begun is None:
        return ("the operating point with this load does not settle",)
    zero, gain = begun
    if abs(gain) < 1e-9:
        return ("nothing to speak of comes out with this load",)
    span = max((abs(volts) for volts in made.network.known.values()), default=0.0)
    sides = {sign: _side(moved, sign, gain, zero, span) for sign in (1.0, -1.0)}
    least = min(sides, key=lambda sign: sides[sign].change)
    most, limit = sides[least].change, sides[least].limit
    there = [moved.at(0.0)]
    for sign, side in sides.items():
        there += [point for change, point in side.points if change <= most]
        if sign != least and all(change != most for change, _ in side.points):
            there.append(moved.at(sign * most))
    level = _level(abs(gain) * most, ohms, limit, 20 * math.log10(abs(gain)))
    return _driven(moved, [point for point in there if point is not None], zero, level)


def _driven(moved: Moved, there: list[OperatingPoint], zero: float, level: LoadLevel) -> Driven:
    there.sort(key=lambda point: point.volts[moved.output])
    outputs = np.array([point.volts[moved.output] - zero for point in there])
    told = [element for element in moved.elements if not isinstance(element, CurrentSource)]

    def at_each(value: Callable[[Element, Mapping[str, float]], float]) -> dict[str, Real]:
        return {e.name: np.array([value(e, point.volts) for point in there]) for e in told}

    return Driven(level, outputs, at_each(heat_of), at_each(_first_amps), at_each(_end_to_end))


def _first_amps(element: Element, volts: Mapping[str, float]) -> float:
    return currents_of(element, volts)[0]


def _end_to_end(element: Element, volts: Mapping[str, float]) -> float:
    nodes = terminals(element)
    return volts[nodes[0]] - volts[nodes[-1]]


@dataclass(frozen=True)
class _Side:
    """How far the input can be moved one way: the largest change, what acts beyond it, and the points on the way."""

    change: float
    limit: str
    points: tuple[tuple[float, OperatingPoint], ...]


def _side(moved: Moved, sign: float, gain: float, zero: float, span: float) -> _Side:
    """Move the input one way in steps until the output is no longer what it should be, then halve the last step."""
    found: list[tuple[float, OperatingPoint]] = []
    end = min(1.2 * span / abs(gain), span)
    # Where next to nothing comes out, the end may be far below: steps that double, from small ones on.
    shares = STEPS if abs(gain) > SHORTED_GAIN else SMALL_STEPS
    good, bad, limit = 0.0, end, NO_LIMIT
    for share in shares:
        why = _tried(moved, sign * share * end, gain, zero, found)
        if why:
            bad, limit = share * end, why
            break
        good = share * end
    for _ in range(HALVINGS if good < bad else 0):
        middle = (good + bad) / 2
        why = _tried(moved, sign * middle, gain, zero, found)
        if why:
            bad, limit = middle, why
        else:
            good = middle
    return _Side(good, limit, tuple(found))


def _tried(moved: Moved, change: float, gain: float, zero: float, found: list[tuple[float, OperatingPoint]]) -> str:
    """Why the output is not what it should be with the input moved; '' when it is, and the point is then kept."""
    point = moved.at(change)
    if point is None:
        return "the operating point is lost"
    reached = (point.volts[moved.output] - zero) / (change * gain) >= CLIPPED
    why = moved.limit_of(point, reached)
    if not why:
        found.append((abs(change), point))
    return why


def push_pull_heat(rail: float, ohms: float, peak: float, idle: float = 0.0) -> float:
    """Mean watts of each device of a push-pull pair on equal rails over a sine into a resistance.

    Args:
        rail: volts of one rail. ohms: all that the current passes, from the device to ground. peak: volts across it.
        idle: current at rest, shared as i1 i2 = idle squared (translinear law); 0 is class B.

    Source: class B, Boylestad and Nashelsky ch. 12; the mean is taken over the wave, so that any idle current fits.

    >>> round(push_pull_heat(30.0, 16.0, 2 * 30.0 / math.pi), 2)
    5.7
    """
    volts = peak * np.sin(CYCLE)
    amps = volts / ohms
    upper = amps / 2 + np.sqrt(amps**2 / 4 + idle**2)
    return float(np.mean((rail - volts) * upper))


def worst_push_pull_heat(rail: float, ohms: float, idle: float = 0.0) -> tuple[float, float]:
    """The most of `push_pull_heat` over all sines up to the rail, rest included, and the peak at which it comes."""
    peaks = np.linspace(0.0, rail, 401)
    heats = [push_pull_heat(rail, ohms, float(peak), idle) for peak in peaks]
    most = int(np.argmax(heats))
    return heats[most], float(peaks[most])


def push_pull_efficiency(rail: float, ohms: float, peak: float) -> float:
    """Share of what a class B pair takes from its supply that reaches the load. Source: as `push_pull_heat`.

    >>> round(push_pull_efficiency(24.0, 4.0, 22.0), 3)
    0.72
    """
    out = peak**2 / (2 * ohms)
    return out / (out + 2 * push_pull_heat(rail, ohms, peak))
