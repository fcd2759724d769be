"""What a rail behind a rectifier has: over mains, regulation of the transformer and load.

The two ends decide: the bottom of the ripple at low mains with load, and the peak at high mains without any. A load
that is not known lies between none and what the transformer is made for.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

from netcheck.circuit.words import Words
from netcheck.physics.rectifying import Charged, Way, charged, unloaded
from netcheck.physics.rectifying_rails import Rectified

MAINS, FREQUENCY, RESERVOIR = "mains tolerance", "mains frequency", "reservoir tolerance"
ALTERNATING = "alternating per direct current"


@dataclass(frozen=True, slots=True)
class Span:
    """Lowest, nominal and highest volts of a rail, with its sign; the end with load is None where that is not known."""

    low: float | None
    nominal: float
    high: float | None

    def on_top_of(self, other: Span) -> Span:
        """Volts of two reservoirs in series."""
        low, high = (
            None if one is None or more is None else one + more
            for one, more in ((self.low, other.low), (self.high, other.high))
        )
        return Span(low, self.nominal + other.nominal, high)


@dataclass(frozen=True, slots=True)
class Supply:
    """A rail behind a rectifier, ready to be computed with; volts are magnitudes against its return.

    Args:
        rail: what was recognised. tolerance: of the mains, 0.1 for 10 %. hertz: of it. spread: of reservoirs.
        alternating: amperes rms in a winding for each ampere of direct current.
    """

    rail: Rectified
    tolerance: float
    hertz: float
    spread: float
    alternating: float

    @property
    def rated_amps(self) -> float | None:
        """Direct current for which the windings are made; None where their power is not told."""
        found = [winding.amps for winding in self.rail.windings]
        known = [amps for amps in found if amps is not None]
        if not found or len(known) < len(found):
            return None
        # Two windings that take turns carry a half-wave each, 3 dB less, unless they serve another rail in between.
        turns = len({route.windings for route in self.rail.routes}) > 1 and not self.rail.shared
        return min(known) * (math.sqrt(2) if turns else 1.0) / self.alternating

    def ways(self, regulation: float) -> tuple[Way, ...] | None:
        """The routes at a share of the regulation's range; None where their ohms are not known."""
        found = [route.way(regulation) for route in self.rail.routes]
        known = tuple(way for way in found if way is not None)
        return known if len(known) == len(found) else None

    def peak(self, regulation: float = 0.5) -> float:
        """Highest volts: high mains, no load, diodes with few volts.

        Args:
            regulation: where in its range that of the windings is, 0 to 1; where it is told that is one number.
        """
        found = [route.way(regulation, ohms=False) for route in self.rail.routes]
        return unloaded([way for way in found if way is not None], self.rail.junction(-1), 1 + self.tolerance)

    def at(self, amps: float, mains: float = 0.0) -> Charged | None:
        """The middle of what is known, at a load and at the mains: -1 low, 0 nominal, 1 high."""
        ways = self.ways(0.5)
        if ways is None or not self.rail.farads:
            return None
        return charged(ways, self.rail.farads, amps, self.rail.junction(), self.hertz, 1 + mains * self.tolerance)

    def ends(self, amps: float, mains: float) -> tuple[Charged, ...]:
        """The state at all ends of regulation, diodes and reservoir; none where something is not known."""
        return tuple(self._ends(amps, mains))

    def _ends(self, amps: float, mains: float) -> Iterator[Charged]:
        if not self.rail.farads:
            return
        for regulation, diode, spread in product((0.0, 1.0), (-1, 1), (-1, 1)):
            ways = self.ways(regulation)
            if ways is None:
                return
            farads = self.rail.farads * (1 + spread * self.spread)
            yield charged(ways, farads, amps, self.rail.junction(diode), self.hertz, 1 + mains * self.tolerance)

    def trough(self, amps: float) -> float | None:
        """Bottom of the ripple at low mains at a load; None where something is not known."""
        return min((state.low for state in self.ends(amps, -1)), default=None)

    def mean_most(self, amps: float) -> float | None:
        """Largest mean volts at high mains at a load."""
        return max((state.mean for state in self.ends(amps, 1)), default=None)

    def ripple(self, amps: float) -> float | None:
        """Largest ripple, peak to peak, at nominal mains and a load."""
        return max((state.ripple for state in self.ends(amps, 0)), default=None)

    def span(self) -> Span:
        """Volts from the bottom of the ripple at low mains and rated load to the peak at high mains without load.

        Nominal is the mean at nominal mains and half the rated load, or the rated peak where that is not known.
        """
        rated, sign = self.rated_amps, self.rail.sign
        low = self.trough(rated) if rated is not None else None
        middle = self.at(rated / 2) if rated is not None else None
        if middle is None:
            ways = [Way(abs(route.volts), 0.0, route.junctions, 1) for route in self.rail.routes]
            nominal = unloaded(ways, self.rail.junction())
        else:
            nominal = middle.mean
        return Span(low, sign * nominal, self.peak()) if sign > 0 else Span(-self.peak(), -nominal, _minus(low))


def _minus(volts: float | None) -> float | None:
    return None if volts is None else -volts


def supply_of(rail: Rectified, words: Words) -> Supply:
    """A rail with what the words of recognition say of mains and reservoirs."""
    mains, hertz, spread, alternating = (words.limit(name).value for name in (MAINS, FREQUENCY, RESERVOIR, ALTERNATING))
    return Supply(rail, mains, hertz, spread, alternating)
