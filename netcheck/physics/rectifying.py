"""A rectifier with its reservoir, in the steady state: what a winding, diodes and a capacitor make of a load current.

The charging current flows for a short part of each half-wave, so that the resistance of the winding costs more than its
share of the mean current. One equation is stepped through a period, C dV/dt = (e(t) - V) / R - I while a diode
conducts, else -I, and the volts to begin with are sought at which the period ends as it began. Diodes are taken as a
few volts and a slope, fitted to their logarithm over the upper decade of their current.

Source: Kirchhoff; the curves of O. H. Schade, "Analysis of rectifier operation", Proc. IRE 31 (1943), have the same
model; held against ngspice in the tests.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

STEPS = 240  # of half a period; the trapezoid of the conduction angle is then within half a percent
LEAST_AMPS = 1e-6  # a load below this is none
LEAST_OHMS = 0.02  # no winding, diode and capacitor together have less; common practice
_PASSES = 3


@dataclass(frozen=True, slots=True)
class Junction:
    """A rectifying junction: so many volts at a current, and `slope` volts more for each e-fold of it.

    >>> round(Junction(0.9, 1.0, 0.047).at(0.01), 2)
    0.68
    """

    volts: float
    amps: float
    slope: float

    def at(self, amps: float) -> float:
        """Forward volts at a current, never below 0."""
        return max(self.volts + self.slope * math.log(max(amps, 1e-9) / self.amps), 0.0)


@dataclass(frozen=True, slots=True)
class Way:
    """One way for the charging current: on one half-wave, through windings and diodes.

    Attributes:
        volts: rms of the windings without load. ohms: of windings, fuses and wires. junctions: in series.
        half: 1 or -1, the half-wave on which it conducts.
    """

    volts: float
    ohms: float
    junctions: int
    half: int


@dataclass(frozen=True, slots=True)
class Charged:
    """A reservoir in the steady state.

    Attributes:
        mean, low, high: volts. peak: amps, largest charging current. rms: amps of it over a whole period,
            for each way.
    """

    mean: float
    low: float
    high: float
    peak: float
    rms: tuple[float, ...]

    @property
    def ripple(self) -> float:
        """Volts peak to peak."""
        return self.high - self.low


def unloaded(ways: Sequence[Way], junction: Junction, mains: float = 1.0) -> float:
    """Volts of a reservoir without load: the peak less what the junctions drop at a hundredth of a milliampere.

    >>> round(unloaded([Way(20.16, 2.6, 1, 1)], Junction(0.9, 1.0, 0.047), 1.1), 1)
    31.0
    """
    return max((math.sqrt(2) * way.volts * mains - way.junctions * junction.at(1e-5) for way in ways), default=0.0)


@lru_cache(maxsize=512)
def charged(
    ways: tuple[Way, ...], farads: float, amps: float, junction: Junction, hertz: float = 50.0, mains: float = 1.0
) -> Charged:
    """The steady state of a reservoir.

    Args:
        ways: at most one for each half-wave. farads: of the reservoir. amps: direct current that the load takes.
        mains: as a part of nominal, 0.9 to 1.1.

    Raises:
        ValueError: without a way, or if farads, amps or hertz are not fit.

    >>> way = Way(20.16, 2.6, 1, 1)
    >>> found = charged((way, replace(way, half=-1)), 4.7e-3, 0.25, Junction(0.9, 1.0, 0.047))
    >>> round(found.mean, 1), round(found.ripple, 2), round(found.peak / 0.25, 1)
    (24.4, 0.38, 4.9)
    """
    if not ways or farads <= 0 or amps < 0 or hertz <= 0:
        raise ValueError("a rectifier needs a winding, a reservoir, and a current that is not negative")
    if amps < LEAST_AMPS:
        volts = unloaded(ways, junction, mains)
        return Charged(volts, volts, volts, 0.0, (0.0,) * len(ways))
    peak, found = 6 * amps, Charged(0.0, 0.0, 0.0, 0.0, ())
    for _ in range(_PASSES):
        knee, slope = _line(junction, peak)
        lines = [
            _Line(
                top=math.sqrt(2) * way.volts * mains,
                off=way.junctions * knee,
                ohms=max(way.ohms + way.junctions * slope, LEAST_OHMS),
                half=way.half,
            )
            for way in ways
        ]
        found = _steady(lines, farads, amps, hertz)
        if abs(found.peak - peak) < 0.05 * peak:
            break
        peak = max(found.peak, 10 * LEAST_AMPS)
    return found


def _line(junction: Junction, peak: float) -> tuple[float, float]:
    """Volts and ohms of a straight line through a junction's volts at a peak current and at a tenth of it."""
    high, low = junction.at(peak), junction.at(peak / 10)
    ohms = (high - low) / (0.9 * peak)
    return high - ohms * peak, ohms


@dataclass(frozen=True, slots=True)
class _Line:
    """A way with its junctions as a line: peak volts, volts that they take off, ohms, half-wave."""

    top: float
    off: float
    ohms: float
    half: int


def _steady(lines: Sequence[_Line], farads: float, amps: float, hertz: float) -> Charged:
    """The period that ends as it began, by the secant that keeps the answer between two ends (Illinois)."""
    alike = (
        len(lines) == 2 and replace(lines[0], half=1) == replace(lines[1], half=1) and lines[0].half != lines[1].half
    )
    span, used = (1, lines[:1]) if alike else (2, lines)
    if alike:
        used = [replace(lines[0], half=1)]
    waves = [_wave(line, span) for line in used]
    step = 1 / hertz / 2 / STEPS

    def run(volts: float) -> tuple[float, Charged]:
        return _period(used, waves, farads, amps, step, volts)

    low, high = 0.0, max(max(line.top - line.off for line in lines), 0.0)
    volts = _fixed_point(lambda at: run(at)[0], low, high)
    found = run(volts)[1]
    return replace(found, rms=(found.rms[0] / math.sqrt(2),) * 2) if alike else found


def _fixed_point(ends_at: Callable[[float], float], low: float, high: float) -> float:
    """Where a function that rises by less than its argument gives its argument."""
    over, under = ends_at(low) - low, ends_at(high) - high
    if over <= 0:
        return low
    if under >= 0:
        return high
    for _ in range(40):
        at = (low * under - high * over) / (under - over)
        left = ends_at(at) - at
        if abs(left) < 1e-4:
            return at
        if left > 0:
            low, over, under = at, left, under / 2
        else:
            high, under, over = at, left, over / 2
    return (low + high) / 2


def _wave(line: _Line, span: int) -> list[float]:
    """Volts of a way at each step of so many half-periods, its junctions taken off."""
    angle = math.pi / STEPS
    sines = (math.sin(angle * (number + 1)) for number in range(span * STEPS))
    return [line.half * line.top * sine - line.off for sine in sines]


def _period(
    lines: Sequence[_Line], waves: Sequence[Sequence[float]], farads: float, amps: float, step: float, volts: float
) -> tuple[float, Charged]:
    """Step through a period, each step by the implicit Euler method."""
    count = len(waves[0])
    fall, stiff = amps * step / farads, farads / step
    total, low, high, peak = 0.0, math.inf, 0.0, 0.0
    squares = [0.0] * len(lines)
    ways = [(number, wave, 1 / line.ohms) for number, (line, wave) in enumerate(zip(lines, waves, strict=True))]
    for at in range(count):
        after = volts - fall
        for number, wave, siemens in ways:
            push = wave[at]
            if push > after:
                charging = (stiff * volts + push * siemens - amps) / (stiff + siemens)
                current = (push - charging) * siemens
                squares[number] += current * current
                after = charging
                if current > peak:
                    peak = current
        volts = after if after > 0.0 else 0.0
        total += volts
        if volts < low:
            low = volts
        if volts > high:
            high = volts
    rms = tuple(math.sqrt(square / count) for square in squares)
    return volts, Charged(total / count, low, high, peak, rms)
