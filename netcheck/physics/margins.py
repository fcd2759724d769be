"""Where the gain round an amplifier's loop has come down to one, and how far from oscillating it then is."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from netcheck.circuit.model import Amplifier, Record
from netcheck.physics.devices import Setting, figure
from netcheck.physics.loops import LoopNetwork, Loops, OpenedLoop, Reasons, Span, load_at, span
from netcheck.physics.network.elements import Capacitor, Element
from netcheck.physics.network.response import Singular

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

FREQUENCIES = np.logspace(1, 9.5, 69)  # eight a decade; crossings are sought closer between them
CLOSER = 17


@dataclass(frozen=True, slots=True)
class OpenLoop:
    """Open-loop gain of an amplifier: one pole, and a second one where it is known.

    Attributes:
        gain: at DC. bandwidth: gain-bandwidth product in Hz. second: second pole in Hz, infinite for none.
    """

    gain: float
    bandwidth: float
    second: float = math.inf

    def at(self, frequencies: Real) -> Complex:
        """The gain at frequencies, complex."""
        first = 1 + 1j * frequencies * self.gain / self.bandwidth
        return np.asarray(self.gain / first / (1 + 1j * frequencies / self.second))


@dataclass(frozen=True, slots=True)
class Crossing:
    """Where a loop gain comes down through one. hertz; gain: of the amplifier there; margin: in degrees."""

    hertz: float
    gain: float
    margin: float


def second_pole(bandwidth: float, margin: float) -> float:
    """The second pole, in Hz, of an amplifier that has a phase margin in degrees at unity gain.

    With the pole of its gain-bandwidth product B and a second pole the gain is one at B cos(90 - PM), and the second
    pole turns the phase by 90 - PM there. Source: Bode; any text on feedback.

    >>> round(second_pole(1e6, 45.0))
    707107
    """
    turn = math.radians(90 - margin)
    return bandwidth * math.cos(turn) / math.tan(turn) if turn > 1e-6 else math.inf


def crossings(loop: OpenedLoop, amplifier: OpenLoop) -> tuple[Crossing, ...]:
    """Every frequency at which the loop gain comes down to one, with the phase margin there.

    The margin is how far the phase still is from turning round by 180 degrees, 180 + arg T. Source: Bode.

    Raises:
        Singular: when the equations have no solution.
    """
    found = []
    gains = loop.feedback(FREQUENCIES) * amplifier.at(FREQUENCIES)
    turned = np.unwrap(np.angle(gains))
    sizes = np.abs(gains)
    for at in range(len(FREQUENCIES) - 1):
        if not sizes[at] >= 1 > sizes[at + 1]:
            continue
        near = np.geomspace(FREQUENCIES[at], FREQUENCIES[at + 1], CLOSER)
        closer = loop.feedback(near) * amplifier.at(near)
        levels, phases = np.log(np.abs(closer)), turned[at] + np.unwrap(np.angle(closer / closer[0]))
        first = int(np.argmax(levels < 0))
        part = levels[first - 1] / (levels[first - 1] - levels[first])
        hertz = float(near[first - 1] * (near[first] / near[first - 1]) ** part)
        phase = phases[first - 1] + part * (phases[first] - phases[first - 1])
        own = float(abs(amplifier.at(np.array([hertz]))[0]))
        found.append(Crossing(hertz, own, 180 + math.degrees(float(phase))))
    return tuple(found)


def crossover(loops: Loops, amplifier: Amplifier) -> Span | Reasons:
    """The frequency in Hz at which the loop gain has come down to one: the closed-loop bandwidth of one pole.

    Source: closed-loop bandwidth = gain-bandwidth product / noise gain; any op-amp text.
    """
    found = _told_crossings(loops, amplifier)
    if isinstance(found, tuple):
        return found
    return span((one[0].hertz for one in found), _doubts(loops, amplifier))


def gain_at_crossover(loops: Loops, amplifier: Amplifier) -> Span | Reasons:
    """The noise gain where the loop gain is one, on which stability hangs."""
    found = _told_crossings(loops, amplifier)
    if isinstance(found, tuple):
        return found
    return span((one[-1].gain for one in found), _doubts(loops, amplifier))


def phase_margin(loops: Loops, amplifier: Amplifier, nodes: Sequence[str], loads: Sequence[float]) -> Span | Reasons:
    """The least phase margin in degrees over loads, positions and the spread of the amplifier's figures.

    It has two ends where values cannot be read.

    It is told only where the second pole of the amplifier and its output resistance are known, and the transition
    frequency and capacitance of the transistors in the loop: an amplifier of one pole always has 90 degrees.

    Args:
        nodes: on which a load hangs, all at a time. loads: farads, none as 0.
    """
    loop = loops.network(amplifier, loads=True)
    if isinstance(loop, tuple):
        return loop
    missing = _missing(loops, loop)
    if missing:
        return missing
    record = loops.part(amplifier).record
    degrees = figure(record, "phase_margin")
    assert degrees is not None
    hanging = [tuple(load_at(node, farads) for node in nodes if farads) for farads in (loads or (0.0,))]
    least = []
    try:
        for setting in loop.settings:
            found = []
            for bandwidth, ohms in product(_ends(record, "gain_bandwidth"), _ends(record, "output_resistance")):
                own = OpenLoop(loop.own.model.gain, bandwidth, second_pole(bandwidth, degrees))
                found += [one.margin for more in hanging for one in _of(loops, loop, setting, ohms, more, own)]
            least += [min(found)] if found else []
    except Singular as singular:
        return (str(singular),)
    if not least:
        return (f"the loop gain of {loops.said(amplifier)} is less than one",)
    return Span(min(least), max(least), loop.unread) if loop.unread else Span(min(least), min(least))


def _of(
    loops: Loops, loop: LoopNetwork, setting: Setting, ohms: float, more: Sequence[Element], own: OpenLoop
) -> tuple[Crossing, ...]:
    farads = figure(loops.part(loop.amplifier).record, "input_capacitance")
    inputs = [Capacitor("input capacitance", loop.own.plus, loop.own.minus, farads)] if farads else []
    return crossings(loops.opened(loop, setting, ohms, (*more, *inputs)), own)


def _told_crossings(loops: Loops, amplifier: Amplifier) -> list[tuple[Crossing, ...]] | Reasons:
    """Crossings at every setting and both ends of the bandwidth, or why there are none."""
    loop = loops.network(amplifier)
    if isinstance(loop, tuple):
        return loop
    record = loops.part(amplifier).record
    bandwidths = _ends(record, "gain_bandwidth")
    if not bandwidths:
        return (f"the part book has no gain-bandwidth product for {loops.said(amplifier)}",)
    found = []
    try:
        for setting, bandwidth in product(loop.settings, bandwidths):
            own = OpenLoop(loop.own.model.gain, bandwidth)
            found.append(_of(loops, loop, setting, loop.own.model.output_ohms, (), own))
    except Singular as singular:
        return (str(singular),)
    if not any(found):
        return (f"the loop gain of {loops.said(amplifier)} is less than one",)
    return [one or (Crossing(0.0, loop.own.model.gain, 90.0),) for one in found]


def _ends(record: Record | None, name: str) -> tuple[float, ...]:
    ends = (figure(record, name, -1), figure(record, name, 1))
    return tuple(dict.fromkeys(end for end in ends if end is not None and end > 0))


def _doubts(loops: Loops, amplifier: Amplifier) -> Reasons:
    """For each of the told crossings, in their order, why it may be that one."""
    loop = loops.network(amplifier)
    part = loops.part(amplifier)
    varies = f"the gain-bandwidth product of {loops.points.said(part)} varies"
    settings = loop.doubts if isinstance(loop, LoopNetwork) else ()
    ends = range(len(_ends(part.record, "gain_bandwidth")))
    return tuple(varies if end else doubt for doubt in settings for end in ends)


def _missing(loops: Loops, loop: LoopNetwork) -> Reasons:
    """What is not known of the parts in a loop for its phase margin to be told."""
    return tuple(dict.fromkeys(_missing_figures(loops, loop)))


def _missing_figures(loops: Loops, loop: LoopNetwork) -> Iterator[str]:
    parts = loops.points.walks.circuit.parts
    wanted = [(loop.amplifier.part, name) for name in ("phase_margin", "output_resistance", "gain_bandwidth")]
    bipolar = [key for key in loop.transistors if parts[key].kind in ("npn", "pnp")]
    wanted += [(key, name) for key in bipolar for name in ("transition_frequency", "output_capacitance")]
    for key, name in wanted:
        record = parts[key].record
        if record is None or record.generic or figure(record, name) is None:
            said = f"{loops.points.said(parts[key])} ({parts[key].value.text})"
            yield f"the part book has no {name.replace('_', ' ')} for {said}"
    if (figure(parts[loop.amplifier.part].record, "least_stable_gain") or 1.0) > 1:
        yield f"how {loops.said(loop.amplifier)} is at a gain of one is not known"
    buffers = [key.rsplit(":", 1)[0] for key in loop.others if parts[key.rsplit(":", 1)[0]].kind == "buffer"]
    for key in (*buffers, *(one for one in loop.transistors if one not in bipolar)):
        yield f"how fast {loops.points.said(parts[key])} is in the loop is not modelled"
