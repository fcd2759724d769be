"""How far from where it should rest an amplifier's output may stand: offset volts and bias currents, multiplied.

Source: noise gain times (offset + bias current times resistance), any text on op-amps; here solved for the network.

The loop is closed and everything is linear, direct current only. What each amplifier's inputs do by themselves is
carried to the output by the adjoint network, and what stands at outputs before is carried on, stage by stage.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from netcheck.circuit.model import Amplifier, Record
from netcheck.physics.devices import Setting, figure
from netcheck.physics.loops import LoopNetwork, Loops, Reasons, free, linear
from netcheck.physics.network.elements import Inductor, OperationalAmplifier, Resistor

Real = NDArray[np.float64]

IN_A_RING = ("stages stand before each other in a ring",)
LOOSE_OHMS = 1e9  # a bias current that meets more than this meets nothing that sets the voltage
OPEN = 0.1  # an output that follows its offset by more than this share of the open-loop gain is in no loop


@dataclass(frozen=True, slots=True)
class Offset:
    """What an output may be off by, in volts either way.

    Attributes:
        usual: with the typical figures of the part book. most: with its worst. Each with its low and its high end,
            which differ where the book knows only the kind of the part.
        bias, before: what of the high end of `usual` comes from bias currents, and from stages before.
    """

    usual: tuple[float, float]
    most: tuple[float, float]
    bias: float
    before: float


class Offsets:
    """The offsets of all amplifiers of a circuit, each worked out when it is first asked for."""

    def __init__(self, loops: Loops) -> None:
        self.loops = loops
        self._found: dict[str, Offset | Reasons] = {}

    def of(self, amplifier: Amplifier) -> Offset | Reasons:
        """The offset at an amplifier's output, the largest over all positions; or why it is not known.

        Stages before are worked out first, one after the other: a chain of them may be long.
        """
        waiting = [amplifier.key]
        while waiting:
            key = waiting[-1]
            first = [] if key in self._found else [one for one in self._before(key) if one not in self._found]
            fresh = [one for one in first if one not in waiting]
            if fresh:
                waiting.extend(fresh)
                continue
            if key not in self._found:
                self._found[key] = self._worked_out(self.loops.points.walks.circuit.amplifiers[key])
            waiting.pop()
        return self._found[amplifier.key]

    def _before(self, key: str) -> list[str]:
        """Amplifiers whose output is held beside a loop."""
        loop = self.loops.network(self.loops.points.walks.circuit.amplifiers[key], inputs=True)
        if isinstance(loop, tuple):
            return []
        touched = dict.fromkeys((*(n for piece in loop.pieces for n in piece.nodes), loop.own.plus, loop.own.minus))
        outputs, inside = self.loops.outputs, set(loop.nodes)
        return [outputs[node] for node in touched if node in outputs and node not in inside]

    def _worked_out(self, amplifier: Amplifier) -> Offset | Reasons:
        loop = self.loops.network(amplifier, inputs=True)
        if isinstance(loop, tuple):
            return loop
        if loop.unread:
            return loop.unread
        worst: Offset | None = None
        for setting in loop.settings:
            found = self._at(loop, setting)
            if not isinstance(found, Offset):
                return found
            worst = found if worst is None or found.most > worst.most else worst
        assert worst is not None
        return worst

    def _at(self, loop: LoopNetwork, setting: Setting) -> Offset | Reasons:
        small = linear([*self.loops.elements(loop, setting), free(loop.own)], loop)
        said = self.loops.said(loop.amplifier)
        rows = [e for e in small.network.elements if isinstance(e, Inductor | OperationalAmplifier)]
        try:
            row: Real = np.asarray(np.linalg.solve(small.conductance.T, small.injected(loop.own.output)), dtype=float)
        except np.linalg.LinAlgError:
            return (f"the direct current in the loop of {said} is not set",)
        if not np.all(np.isfinite(row)):
            return (f"the direct current in the loop of {said} gives no number",)
        at = {e.name: len(small.nodes) + number for number, e in enumerate(rows)}
        by_node: Mapping[str, float] = {node: float(row[number]) for node, number in small.index.items()}
        amps = [e for e in rows if isinstance(e, OperationalAmplifier)]
        if abs(row[at[loop.own.name]]) > OPEN:
            return (f"no direct current comes back to the inputs of {said}",)
        own, bias = np.zeros(4), np.zeros(4)
        for element in amps:
            record = self.loops.points.walks.circuit.parts[element.name.rsplit(":", 1)[0]].record
            gain = abs(float(row[at[element.name]])) * element.model.gain
            ohms = [by_node.get(node, 0.0) for node in (element.plus, element.minus)]
            if max(abs(one) for one in ohms) > LOOSE_OHMS:
                return (f"nothing sets the DC voltage at an input of {said}",)
            own += gain * _ends(record, "offset_volts")
            bias += _met(record, ohms) * _ends(record, "bias_current")
        before = np.zeros(4)
        for gain, key in self._carried(loop, setting, by_node, amps, row, at):
            found = self._found.get(key, IN_A_RING)
            if not isinstance(found, Offset):
                return found
            before += gain * np.array([*found.usual, *found.most])
        low, high, least, most = (float(one) for one in own + bias + before)
        return Offset((low, high), (least, most), float(bias[1]), float(before[1]))

    def _carried(
        self,
        loop: LoopNetwork,
        setting: Setting,
        by_node: Mapping[str, float],
        amps: list[OperationalAmplifier],
        row: Real,
        at: Mapping[str, int],
    ) -> Iterator[tuple[float, str]]:
        """Outputs of amplifiers that are held, and how much of what stands there comes out."""
        held = {node: key for node, key in self.loops.outputs.items() if node not in by_node}
        gains: dict[str, float] = {}
        for element in self.loops.elements(loop, setting):
            if isinstance(element, Resistor | Inductor):
                for node, other in ((element.a, element.b), (element.b, element.a)):
                    if node in by_node and other in held:
                        gains[other] = gains.get(other, 0.0) + by_node[node] / max(element.ohms, 1e-9)
        for element in amps:
            for node, sign in ((element.plus, 1.0), (element.minus, -1.0)):
                if node in held:
                    gains[node] = gains.get(node, 0.0) + sign * float(row[at[element.name]]) * element.model.gain
        yield from ((abs(gain), held[node]) for node, gain in gains.items() if abs(gain) > 1e-6)


def _ends(record: Record | None, name: str) -> Real:
    """A figure in four: the low and the high end of what is typical, and of what is the most."""
    most = [figure(record, f"{name}_most", way) for way in (-1, 1)]
    usual = [figure(record, name, way) for way in (-1, 1)]
    usual = [one if one is not None else other for one, other in zip(usual, most, strict=True)]
    most = [other if other is not None else one for one, other in zip(usual, most, strict=True)]
    return np.array([one or 0.0 for one in (*usual, *most)])


def _met(record: Record | None, ohms: list[float]) -> float:
    """Ohms that make volts at the output of the bias currents of one amplifier.

    Currents of known direction flow the same way at both inputs and are taken as equal, so that equal resistances
    cancel; of others each may go either way.

    Args:
        ohms: volts at the output for one ampere into the + and the - input's node.
    """
    direction = record.figures["bias_direction"].word if record and "bias_direction" in record.figures else "either"
    return abs(sum(ohms)) if direction != "either" else sum(abs(one) for one in ohms)
