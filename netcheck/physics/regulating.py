"""What a linear regulator needs between input and output, and what it turns into heat."""

from __future__ import annotations

from dataclasses import dataclass

from netcheck.circuit.model import Part, Record
from netcheck.physics.devices import figure

LIGHT_SHARE = 0.1  # of the full current: up to here the figure for a light load holds; read off drop-out curves


def drop_out(record: Record | None, amps: float) -> tuple[float, float] | None:
    """Least volts across a regulator at a current, lowest and highest of what types and makers have.

    Between the figures for a light load and for full current a straight line; those of TI SLVS044 (LM317, figure of
    drop-out against temperature) and of onsemi MC7800/D bend less than their spread.

    Returns:
        None where the book tells nothing.
    """
    light = _ends(record, "drop_out_light")
    full = _ends(record, "drop_out")
    if light is None or full is None:
        return light or full
    most = figure(record, "current_most", -1)
    if most is None or most <= 0:
        return min(light[0], full[0]), max(light[1], full[1])
    share = min(max((abs(amps) / most - LIGHT_SHARE) / (1 - LIGHT_SHARE), 0.0), 1.0)
    low, high = (one + share * (other - one) for one, other in zip(light, full, strict=True))
    return low, high


def _ends(record: Record | None, name: str) -> tuple[float, float] | None:
    low, high = figure(record, name, -1), figure(record, name, 1)
    return None if low is None or high is None else (low, high)


def regulator_watts(across: float, amps: float, into: float = 0.0, own: float = 0.0) -> float:
    """Heat of a series regulator.

    Args:
        across: volts from input to output. amps: at the output. into: volts from input to its ground pin.
        own: current of the ground pin.

    Source: power is volts times amps; reference: any data sheet of a 78xx.

    >>> regulator_watts(8.0, 0.2, 23.0, 5e-3)
    1.715
    """
    return max(across, 0.0) * amps + max(into, 0.0) * own


@dataclass(frozen=True, slots=True)
class Fed:
    """How a regulator is fed: magnitudes in volts.

    Attributes:
        part: the regulator. kind: 'rectifier' where a rectifier with known windings feeds it, else ''.
        best: at its input at low mains, at rest, with the best of what is not known; worst: with the signal and the
            worst of it, None where the load is not known. rest: mean at nominal mains at rest. mean: largest mean at
            high mains. top: highest, at high mains without load.
        out: at its output, lowest, nominal and highest. amps: of its output at rest, lowest, nominal and most.
        signal: the same at most with music; None where not known. own: its own current. reasons: why.
    """

    part: Part
    kind: str
    best: float
    worst: float | None
    rest: float
    mean: float | None
    top: float
    out: tuple[float, float, float]
    amps: tuple[float, float, float | None]
    signal: float | None
    own: float
    reasons: tuple[str, ...] = ()

    def spare_at_rest(self) -> float | None:
        """Volts more than it needs, at low mains and at rest; None where the book tells no drop-out."""
        needed = drop_out(self.part.record, self.amps[0])
        return None if needed is None else self.best - self.out[1] - needed[0]

    def spare_with_signal(self) -> float | None:
        """The same with the signal, everything at its worst but for the output, which is nominal."""
        if self.worst is None or self.signal is None:
            return None
        needed = drop_out(self.part.record, self.signal)
        return None if needed is None else self.worst - self.out[1] - needed[1]

    def watts(self) -> tuple[float, float | None]:
        """Heat at rest and nominal mains, and at most: high mains, with the signal."""
        least = regulator_watts(self.rest - self.out[1], self.amps[1], self.rest, self.own)
        if self.mean is None or self.signal is None:
            return least, None
        return least, max(least, regulator_watts(self.mean - self.out[0], self.signal, self.mean, self.own))
