"""A shorted output: how far the current goes, and what ends it."""

from __future__ import annotations

from dataclasses import dataclass

from netcheck.physics.moving import Moved
from netcheck.physics.network.operating import OperatingPoint
from netcheck.physics.pathmodel import SHORT_OHMS

HALVINGS = 10  # of the last step, until an amplifier delivers no more
FIRST_SHORTED, SWEEP = 1e-6, 6.0  # volts in from which a shorted output is moved, and the factor of its steps
LEAST_SHORTED = SHORT_OHMS * 1e-4  # volts of a shorted output below which nothing to speak of comes
CENTRING = 40  # halvings until an offset is made up for
SURELY_MOVED = 0.3  # volts in beyond which an offset no longer decides to which end a shorted output goes
SATURATED = 1e-3  # share by which a shorted output still rises from step to step: it gives no more


@dataclass(frozen=True)
class Shorted:
    """Points of a shorted output over all that it gives.

    Attributes:
        zero: volts of the output without a current. peak: volts from there at the weaker end. limit: what ends it.
    """

    points: tuple[OperatingPoint, ...]
    zero: float
    peak: float
    limit: str


def shorted(moved: Moved) -> Shorted | tuple[str, ...]:
    """A shorted output: the input is moved until no more current comes, for the loop no longer holds anything.

    With nothing held, an offset alone may drive the output to one end; what counts is the current, not where it rests.
    """
    rest = _centred(moved)
    if rest is None:
        return ("the operating point with this load does not settle",)
    zero = moved.made.point.volts[moved.output] if moved.held else 0.0
    up, down = _swept(moved, 1.0, rest, zero), _swept(moved, -1.0, rest, zero)
    ends = [abs(points[-1].volts[moved.output] - zero) if points else 0.0 for points in (up, down)]
    if min(ends) < LEAST_SHORTED:
        return ("what the shorted output gives does not settle",)
    least = up if ends[0] <= ends[1] else down
    limit = moved.stopped or moved.limit_of(least[-1], reached=False)
    return Shorted((*up, *down), zero, min(ends), limit)


def _centred(moved: Moved) -> OperatingPoint | None:
    """A shorted output where no amplifier is overloaded; an offset alone may have driven it to one end."""
    rest = moved.at(0.0)
    overloaded = moved.overloaded(rest) if rest is not None else None
    if rest is None or overloaded is None:
        return rest
    low, high = -SURELY_MOVED, SURELY_MOVED
    rises = None
    for _ in range(CENTRING):
        middle = (low + high) / 2
        point = moved.at(middle)
        if point is None:
            return None
        if moved.overloaded(point) is None:
            moved.begun, moved.found = moved.begun + middle, {}
            return moved.at(0.0, point.volts)
        if rises is None:
            end = moved.at(high, point.volts)
            rises = end is not None and end.volts[moved.output] > point.volts[moved.output]
        below = moved.amps_of(overloaded, point) > 0  # what the amplifier delivers flows out of it
        low, high = (low, middle) if below == rises else (middle, high)
    return None


def _swept(moved: Moved, sign: float, rest: OperatingPoint, zero: float) -> list[OperatingPoint]:
    """Points with the input further and further from rest, until the output no longer follows."""
    span = max((abs(volts) for volts in moved.known.values()), default=0.0)
    found: list[OperatingPoint] = []
    change, before, good = FIRST_SHORTED, 0.0, 0.0
    while change <= span:
        point = moved.at(sign * change, (found[-1] if found else rest).volts)
        if point is None:
            break
        overloaded = moved.overloaded(point)
        if overloaded is not None:
            moved.stopped = f"{moved.said(overloaded)} delivers no more current"
            return [*found, *_up_to_overload(moved, sign, good, change)]
        found.append(point)
        out = abs(point.volts[moved.output] - zero)
        if change > SURELY_MOVED and out > LEAST_SHORTED and abs(out - before) < SATURATED * out:
            break
        change, before, good = SWEEP * change, out, change
    return found


def _up_to_overload(moved: Moved, sign: float, good: float, bad: float) -> list[OperatingPoint]:
    """Points nearer and nearer to where an amplifier delivers no more current."""
    found = []
    for _ in range(HALVINGS):
        middle = (good + bad) / 2
        point = moved.at(sign * middle)
        if point is not None and moved.overloaded(point) is None:
            found.append(point)
            good = middle
        else:
            bad = middle
    return found
