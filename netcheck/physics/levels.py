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

from netcheck.circuit.model import Record
from netcheck.ground.units import DECIBEL_AT_MILLIWATT, Quantity
from netcheck.physics.behaviour import LoadLevel
from netcheck.physics.devices import figure
from netcheck.physics.modelling import ZERO
from netcheck.physics.network.elements import (
    Capacitor,
    CurrentSource,
    Diode,
    Element,
    OperationalAmplifier,
    Resistor,
)
from netcheck.physics.network.operating import Network, NoOperatingPoint, OperatingPoint, operating_point, terminals
from netcheck.physics.pathmodel import MIDDLE, PathModel
from netcheck.physics.points import Points, current_into, currents_of, heat_of

Real = NDArray[np.float64]

NUDGES = (1e-3, 1e-2, 1e-1)  # volts in by which the gain at rest is measured, until it grows no more
CLIPPED = 0.97  # an output that is this much of what the gain at rest asks for is taken for the last undistorted one
LEAST_BIAS = 1e-5  # amps at rest below which a diode is no part of a bias network
BETWEEN = (0.1, 0.3, 0.6, 1.0)  # of the way from the nearest point that was found
SHORT_OHMS = 0.01
SHORTED_GAIN = 0.1  # a gain below this says little about how far the input goes
FIRST_SHORTED, SWEEP = 1e-6, 6.0  # volts in from which a shorted output is moved, and the factor of its steps
LEAST_SHORTED = SHORT_OHMS * 1e-4  # volts of a shorted output below which nothing to speak of comes
SURELY_MOVED = 0.3  # volts in beyond which an offset no longer decides to which end a shorted output goes
SATURATED = 1e-3  # share by which a shorted output still rises from step to step: it gives no more
HALVINGS = 5
STEPS = tuple(step / 6 for step in range(1, 7))  # of what the supply would allow
SMALL_STEPS = tuple(2.0**-step for step in range(12, -1, -1))
CYCLE = np.linspace(0.0, 2 * math.pi, 360, endpoint=False)
EFFORT = 5_000  # about as much as one search from a near start takes; lost points are not searched for by steps


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


class _Moved:
    """The static network of a path with a load, to be solved at any input."""

    def __init__(self, points: Points, made: PathModel, ohms: float) -> None:
        self.points, self.made = points, made
        self.source, self.output = made.path.input.node, made.output
        rest = made.point.volts
        self.begun = rest[self.source]
        elements: list[Element] = []
        for element in made.network.elements:
            elements += _static(element, rest)
        self.held = abs(rest[self.output]) > 1.0
        if math.isfinite(ohms):
            siemens = 1 / max(ohms, SHORT_OHMS)
            elements.append(Resistor("load", self.output, ZERO, 1 / siemens))
            if self.held:  # a load behind a coupling capacitor: its direct volts stay where they are
                elements.append(CurrentSource("load at rest", ZERO, self.output, siemens * rest[self.output]))
        self.elements = tuple(elements)
        self.known = {ZERO: 0.0} | dict(made.network.known)
        self.amplifiers = [e for e in elements if isinstance(e, OperationalAmplifier)]
        self.rest: Mapping[str, float] = rest
        self.slopes: Mapping[str, float] = {}
        self.found: dict[float, Mapping[str, float]] = {}

    def nudge(self) -> tuple[float, float] | None:
        """The output at rest and the gain there; finds how every node follows the input. None where there is none.

        A stage that stands still around zero, as class B does, is nudged further until it moves.
        """
        rest = self.at(0.0)
        if rest is None:
            return None
        self.rest = rest.volts
        zero, gain = rest.volts[self.output], 0.0
        for small in NUDGES:
            nudged = self.at(small)
            if nudged is None:
                return (zero, gain) if gain else None
            found = (nudged.volts[self.output] - zero) / small
            if abs(found) <= abs(gain) / CLIPPED:
                break
            gain = found
            self.slopes = {node: (volts - rest.volts[node]) / small for node, volts in nudged.volts.items()}
        return zero, gain

    def at(self, change: float, begin: Mapping[str, float] | None = None) -> OperatingPoint | None:
        """The point with the input moved; None where there is none.

        Sought from a start or from where a straight line through the nearest points leads, then from the nearest
        point, then by way of points between that and this.
        """
        found = self._from(change, self._led_to(change) if begin is None else begin)
        if found is None and self.found:
            nearest = min(self.found, key=lambda one: abs(one - change))
            for part in BETWEEN:
                at = nearest + part * (change - nearest)
                found = self._from(at, self.found[min(self.found, key=lambda one: abs(one - at))])
                if found is None:
                    break
        return found

    def _led_to(self, change: float) -> Mapping[str, float]:
        """Volts to begin with: on a straight line through the two nearest points, or along the slopes at rest."""
        side = sorted((one for one in self.found if one * change >= 0), key=lambda one: abs(one - change))[:2]
        if len(side) < 2 or change == 0:
            return {node: volts + self.slopes.get(node, 0.0) * change for node, volts in self.rest.items()}
        near, far = side
        share = (change - near) / (near - far)
        first, second = self.found[near], self.found[far]
        return {node: volts + share * (volts - second[node]) for node, volts in first.items()}

    def _from(self, change: float, begin: Mapping[str, float]) -> OperatingPoint | None:
        network = Network(self.elements, self.known | {self.source: self.begun + change})
        try:
            found = operating_point(network, begin, EFFORT)
        except NoOperatingPoint:
            return None
        self.found[change] = found.volts
        return found

    def limit_of(self, point: OperatingPoint, reached: bool) -> str:
        """What acts at a point, a clause; '' when nothing does."""
        limit = self._amplifier_limit(point)
        if limit or not reached:
            starved = self._starved(point)
            if starved:
                said = self.points.said(self.points.walks.circuit.parts[self.made.part_of[starved]])
                return f"{said} no longer conducts, and what follows it gets no more current"
        return limit or ("" if reached else "what drives the output gives no more")

    def _starved(self, point: OperatingPoint) -> str:
        """A diode that conducts at rest and no longer does: a resistor that feeds bases gives no more."""
        for element in self.elements:
            if isinstance(element, Diode):
                rest = current_into(element, element.anode, self.made.point.volts)
                if rest > LEAST_BIAS and current_into(element, element.anode, point.volts) < rest / 100:
                    return element.name
        return ""

    def _amplifier_limit(self, point: OperatingPoint) -> str:
        for amplifier in self.amplifiers:
            said = self.points.said(self.points.walks.circuit.parts[self.made.part_of[amplifier.name]])
            unit = amplifier.name.rsplit(":", 1)[-1] if ":" in amplifier.name else ""
            amps = sum(
                current_into(element, amplifier.output, point.volts)
                for element in self.elements
                if element is not amplifier and amplifier.output in terminals(element)
            )
            most = amplifier.model.most_amps
            if most is not None and abs(amps) > most:
                return f"{said}{unit} delivers no more current"
            at = tuple(point.volts[node] for node in amplifier.nodes)
            wanted = amplifier.wanted(at)
            middle, half = amplifier.range_of(at[3], at[4])
            if abs(math.tanh((wanted - middle) / half)) > CLIPPED:
                return f"the output of {said}{unit} reaches its supply"
        return ""


def _static(element: Element, rest: Mapping[str, float]) -> list[Element]:
    if not isinstance(element, Capacitor):
        return [element]
    siemens = 2 * math.pi * MIDDLE * element.farads
    held = siemens * (rest[element.a] - rest[element.b])
    return [
        Resistor(element.name, element.a, element.b, 1 / siemens, noisy=False),
        CurrentSource(f"{element.name} held", element.b, element.a, held),
    ]


def drive(points: Points, made: PathModel, ohms: float) -> Driven | tuple[str, ...]:
    """Move a path with a load through what it can do; or why that cannot be found."""
    moved = _Moved(points, made, ohms)
    if ohms <= SHORT_OHMS:
        return _shorted(moved, ohms)
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


def _driven(moved: _Moved, there: list[OperatingPoint], zero: float, level: LoadLevel) -> Driven:
    there.sort(key=lambda point: point.volts[moved.output])
    outputs = np.array([point.volts[moved.output] - zero for point in there])
    told = [element for element in moved.elements if not isinstance(element, CurrentSource)]

    def at_each(value: Callable[[Element, Mapping[str, float]], float]) -> dict[str, Real]:
        return {e.name: np.array([value(e, point.volts) for point in there]) for e in told}

    return Driven(level, outputs, at_each(heat_of), at_each(_first_amps), at_each(_end_to_end))


def _shorted(moved: _Moved, ohms: float) -> Driven | tuple[str, ...]:
    """A shorted output: the input is moved until no more current comes, for the loop no longer holds anything.

    With nothing held, an offset alone may drive the output to one end; what counts is the current, not where it rests.
    """
    rest = moved.at(0.0)
    if rest is None:
        return ("the operating point with this load does not settle",)
    zero = moved.made.point.volts[moved.output] if moved.held else 0.0
    up, down = _swept(moved, 1.0, rest, zero), _swept(moved, -1.0, rest, zero)
    ends = [abs(points[-1].volts[moved.output] - zero) if points else 0.0 for points in (up, down)]
    if min(ends) < LEAST_SHORTED:
        return ("what the shorted output gives does not settle",)
    least = up if ends[0] <= ends[1] else down
    limit = moved.limit_of(least[-1], reached=False)
    return _driven(moved, [*up, *down], zero, _level(min(ends), ohms, limit, -math.inf))


def _swept(moved: _Moved, sign: float, rest: OperatingPoint, zero: float) -> list[OperatingPoint]:
    """Points with the input further and further from rest, until the output no longer follows."""
    span = max((abs(volts) for volts in moved.known.values()), default=0.0)
    found: list[OperatingPoint] = []
    change, before = FIRST_SHORTED, 0.0
    while change <= span:
        point = moved.at(sign * change, (found[-1] if found else rest).volts)
        if point is None:
            break
        found.append(point)
        out = abs(point.volts[moved.output] - zero)
        if change > SURELY_MOVED and out > LEAST_SHORTED and abs(out - before) < SATURATED * out:
            break
        change, before = SWEEP * change, out
    return found


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


def _side(moved: _Moved, sign: float, gain: float, zero: float, span: float) -> _Side:
    """Move the input one way in steps until the output is no longer what it should be, then halve the last step."""
    found: list[tuple[float, OperatingPoint]] = []
    end = min(1.2 * span / abs(gain), span)
    # Where next to nothing comes out, the end may be far below: steps that double, from small ones on.
    shares = STEPS if abs(gain) > SHORTED_GAIN else SMALL_STEPS
    good, bad, limit = 0.0, end, "nothing within the supply"
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


def _tried(moved: _Moved, change: float, gain: float, zero: float, found: list[tuple[float, OperatingPoint]]) -> str:
    """Why the output is not what it should be with the input moved; '' when it is, and the point is then kept."""
    point = moved.at(change)
    if point is None:
        return "the operating point is lost"
    reached = (point.volts[moved.output] - zero) / (change * gain) >= CLIPPED
    why = moved.limit_of(point, reached)
    if not why:
        found.append((abs(change), point))
    return why


def slew_limit(record: Record | None, peak: float, hertz: float = 20e3) -> float | None:
    """Share of its slew rate that an amplifier needs for a sine of that peak; None where the book has none.

    A share of one or more means that it cannot follow.
    """
    slew = figure(record, "slew_rate", -1)
    return None if slew is None else slew_needed(peak, hertz) / slew


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
