"""Functions of the rule language about amplifiers in their loops.

The physics behind them is imported when the first number is asked for: numpy takes its time.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import combinations
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from netcheck.circuit.model import Amplifier, Part
from netcheck.ground.units import DECIBEL, FARAD, HERTZ, PLAIN, VOLT, Unit, show
from netcheck.language.scope import Trace
from netcheck.language.types import Function, Number, Parameter, Text, Thing, Word, YesNo
from netcheck.language.values import Unknown
from netcheck.rulebook.at_rest import SHARE, STEADY
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.nouns import amplifier_text
from netcheck.rulebook.signatures import always, number

if TYPE_CHECKING:
    from netcheck.physics.loops import Loops, Reasons, Span
    from netcheck.physics.offsets import Offset, Offsets

_LOOPS: WeakKeyDictionary[object, Loops] = WeakKeyDictionary()
_OFFSETS: WeakKeyDictionary[object, Offsets] = WeakKeyDictionary()
LOADS_BETWEEN = 3


def loops_of(facts: Facts) -> Loops:
    """The loops of a circuit, kept with its operating points."""
    from netcheck.physics.loops import Loops

    points = facts.at_rest.points
    if points not in _LOOPS:
        _LOOPS[points] = Loops(points)
    return _LOOPS[points]


def offsets_of(facts: Facts) -> Offsets:
    """The offsets of a circuit, kept as well."""
    from netcheck.physics.offsets import Offsets

    points = facts.at_rest.points
    if points not in _OFFSETS:
        _OFFSETS[points] = Offsets(loops_of(facts))
    return _OFFSETS[points]


def _told(facts: Facts, found: Span | tuple[str, ...], what: str, unit: Unit) -> float | Unknown:
    """One number where the ends are near each other, else unknown with its ends."""
    if isinstance(found, tuple):
        return Unknown(found)
    if found.high - found.low <= _share(facts) * abs(found.high) or found.low == found.high:
        return found.low if math.isfinite(found.low) else Unknown((f"{what} has no bound",), 0.0, None)
    high = found.high if math.isfinite(found.high) else None
    top = show(high, unit) if high is not None else "no bound"
    ends = f"{what} lies between {show(found.low, unit)} and {top}"
    return Unknown(found.doubts or (ends,), found.low, high)


def _share(facts: Facts) -> float:
    """A figure whose ends are no further apart than this share of it is told as one number."""
    return float(facts.words.limit(SHARE).value)


def _units(facts: Facts, amp: Amplifier | Part) -> Sequence[Amplifier]:
    """An amplifier, or those of a power amplifier whose gain is set outside."""
    return [amp] if isinstance(amp, Amplifier) else facts.at_rest.points.plan.modeller.power_amplifiers(amp)


def _over_units(
    facts: Facts, trace: Trace, amp: Amplifier | Part, what: str, unit: Unit, ask: Callable[[Amplifier], Span | Reasons]
) -> float | Unknown:
    """A figure of an amplifier, or between its ends over all amplifiers of a part."""
    spans: list[Span] = []
    units = _units(facts, amp)
    for one in units:
        _saw(facts, trace, one)
        found = ask(one)
        if isinstance(found, tuple):
            return Unknown(found)
        spans.append(found)
    said = amplifier_text(facts, amp) if isinstance(amp, Amplifier) else facts.text_of(amp)
    if not spans:
        return Unknown((f"the pins of {said} are not known",))
    doubts = tuple(dict.fromkeys(doubt for one in spans for doubt in one.doubts))
    low, high = min(one.low for one in spans), max(one.high for one in spans)
    return _told(facts, replace(spans[0], low=low, high=high, doubts=doubts), f"{what} of {said}", unit)


def _saw(facts: Facts, trace: Trace, amp: Amplifier, inputs: bool = False) -> None:
    loop = loops_of(facts).network(amp, inputs=inputs)
    trace.step()
    if not isinstance(loop, tuple):
        trace.saw([amp.part, *dict.fromkeys(piece.part for piece in loop.pieces)])


def _noise_gain(facts: Facts, trace: Trace, amp: Amplifier | Part, f: float) -> float | Unknown:
    return _over_units(facts, trace, amp, "the noise gain", PLAIN, lambda one: loops_of(facts).noise_gain(one, f))


def _loop_gain(facts: Facts, trace: Trace, amp: Amplifier) -> float | Unknown:
    _saw(facts, trace, amp)
    return _told(facts, loops_of(facts).loop_gain(amp), f"the loop gain of {amplifier_text(facts, amp)}", PLAIN)


def _bandwidth(facts: Facts, trace: Trace, amp: Amplifier | Part) -> float | Unknown:
    from netcheck.physics.margins import crossover

    return _over_units(facts, trace, amp, "the bandwidth", HERTZ, lambda one: crossover(loops_of(facts), one))


def _gain_at_crossover(facts: Facts, trace: Trace, amp: Amplifier | Part) -> float | Unknown:
    from netcheck.physics.margins import gain_at_crossover

    what = "the noise gain at the crossover"
    return _over_units(facts, trace, amp, what, PLAIN, lambda one: gain_at_crossover(loops_of(facts), one))


def _least_stable_gain(facts: Facts, trace: Trace, amp: Amplifier | Part) -> float | Unknown:
    """What the book says, or less by the capacitor between the compensation pins.

    The capacitor that makes a part stable at a gain of one makes it stable at k with a k-th of it, since the first pole
    goes with it. Source: data sheet of the LM301A, from memory; any text on compensation.
    """
    part = amp if isinstance(amp, Part) else facts.circuit.parts[amp.part]
    figures = part.record.figures if part.record is not None else {}
    least, wanted = figures.get("least_stable_gain"), figures.get("compensation_capacitor")
    if least is None or least.low is None or least.high is None:
        return Unknown((f"the part book has no least stable gain for {facts.text_of(part)}",))
    low, high = least.low, least.high
    if wanted is not None and wanted.low is not None:
        pins = part.by_role("compensation")
        pairs = combinations(pins, 2)  # a balance pin may be among them
        found = (one for pin, other in pairs for one in facts.walks.capacitors(pin.net, other.net))
        held = list({one.key: one for one in found}.values())
        trace.saw(one.key for one in held)
        farads = sum(one.value.number or 0.0 for one in held)
        if farads > 0:
            low, high = (max(1.0, min(end, wanted.low / farads)) for end in (low, high))
        unread = [facts.text_of(one) for one in held if one.value.number is None]
        if unread and high > 1:
            return Unknown((f"the value of {', '.join(unread)} is not known",), 1.0, high)
    return low if low == high else Unknown(("the least stable gain varies",), low, high)


def _phase_margin(facts: Facts, trace: Trace, amp: Amplifier, least: float = 0.0, most: float = 0.0) -> float | Unknown:
    from netcheck.physics.margins import phase_margin

    _saw(facts, trace, amp)
    loops = loops_of(facts)
    loop = loops.network(amp, loads=True)
    if isinstance(loop, tuple):
        return Unknown(loop)
    nodes = [node for node in loop.nodes if _goes_out(facts, node)]
    loads = [0.0]
    if most > 0 and nodes:
        steps = LOADS_BETWEEN + 1
        loads += [least * (most / least) ** (step / steps) for step in range(steps + 1)] if least > 0 else [most]
    return _told(
        facts, phase_margin(loops, amp, nodes, loads), f"the phase margin of {amplifier_text(facts, amp)}", PLAIN
    )


def _goes_out(facts: Facts, net: str) -> bool:
    """Whether a cable out of the box may hang on a net."""
    if facts.walks.leaves_board(net):
        return True
    walks, ends = facts.walks, facts.at_rest.told_ends
    return any(pin.key in ends for one in walks.joined_by_cable(net) for pin in walks.on(one).get("connector", ()))


def _offset(facts: Facts, trace: Trace, amp: Amplifier) -> Offset | Unknown:
    _saw(facts, trace, amp, inputs=True)
    found = offsets_of(facts).of(amp)
    return Unknown(found) if isinstance(found, tuple) else found


def _offset_volts(which: str) -> Callable[..., float | Unknown]:
    def call(facts: Facts, trace: Trace, amp: Amplifier) -> float | Unknown:
        found = _offset(facts, trace, amp)
        if isinstance(found, Unknown):
            return found
        low, high = getattr(found, which)
        if high - low <= max(_share(facts) * high, 1e-6):
            return float(high)
        part = facts.circuit.parts[amp.part]
        said = f"{facts.text_of(part)} ({part.value.text})"
        return Unknown((f"the part book has no offset or bias current for {said}",), low, high)

    return call


def _offset_from(what: str) -> Callable[..., float | Unknown]:
    def call(facts: Facts, trace: Trace, amp: Amplifier) -> float | Unknown:
        found = _offset(facts, trace, amp)
        return found if isinstance(found, Unknown) else float(getattr(found, what))

    return call


def _feedback_loss(facts: Facts, trace: Trace, amp: Amplifier, f: float, inverting: bool) -> float | Unknown:
    from netcheck.physics.stagegain import feedback_loss

    _saw(facts, trace, amp)
    found = feedback_loss(loops_of(facts), amp, f, inverting)
    return _told(facts, found, f"the loss of {amplifier_text(facts, amp)}", DECIBEL)


def _largest_swing(facts: Facts, trace: Trace, amp: Amplifier) -> float | Unknown:
    from netcheck.physics.swinging import largest_swing

    return largest_swing(facts.circuit, amp)


def _input_room(facts: Facts, trace: Trace, amp: Amplifier, side: str, guaranteed: bool) -> float | Unknown:
    from netcheck.physics.inputrange import input_room

    found = input_room(facts.at_rest.points, amp, side, guaranteed)
    if isinstance(found, Unknown):
        return found
    what = f"the room {side} the input of {amplifier_text(facts, amp)}"
    return found.told(what, VOLT, facts.words.limit(STEADY).value, _share(facts))


AMP = Parameter("amp", lambda kind: isinstance(kind, Thing) and kind.noun == "amplifier", "an amplifier")
POWER = frozenset({"power amplifier"})
EITHER = Parameter(
    "amp",
    lambda kind: (
        isinstance(kind, Thing) and (kind.noun == "amplifier" or (kind.noun == "part" and kind.kinds == POWER))
    ),
    "an amplifier or a power amplifier",
)
SIDE = Parameter("side", lambda kind: isinstance(kind, Text | Word), "'below' or 'above'")
GUARANTEED = Parameter("guaranteed", lambda kind: isinstance(kind, YesNo), "yes or no")

AMPLIFIER_FUNCTIONS: dict[str, Function] = {
    function.name: function
    for function in (
        Function("noise_gain", (EITHER, number("f", HERTZ, "a frequency")), always(Number(PLAIN)), _noise_gain,
                 "one by the part of an amplifier's output that comes back to its inputs at a frequency"),
        Function("loop_gain", (AMP,), always(Number(PLAIN)), _loop_gain,
                 "gain round an amplifier's loop for direct current; below zero where the feedback is positive"),
        Function("closed_loop_bandwidth", (EITHER,), always(Number(HERTZ)), _bandwidth,
                 "frequency at which an amplifier's loop gain has come down to one"),
        Function("gain_at_crossover", (EITHER,), always(Number(PLAIN)), _gain_at_crossover,
                 "noise gain of an amplifier where its loop gain is one"),
        Function("least_stable_gain", (EITHER,), always(Number(PLAIN)), _least_stable_gain,
                 "least noise gain at which an amplifier is stable, its compensation pins looked at"),
        Function("phase_margin",
                 (AMP, number("least", FARAD, "a capacitance", False), number("most", FARAD, "a capacitance", False)),
                 always(Number(PLAIN)), _phase_margin,
                 "least phase margin in degrees, without a load and with so many farads at each way out of the box"),
        Function("offset_volts", (AMP,), always(Number(VOLT)), _offset_volts("usual"),
                 "what the output of an amplifier is usually off by at rest, by offsets and bias currents"),
        Function("offset_volts_most", (AMP,), always(Number(VOLT)), _offset_volts("most"),
                 "the same with the worst figures of the part book"),
        Function("offset_of_bias", (AMP,), always(Number(VOLT)), _offset_from("bias"),
                 "what of offset_volts comes from bias currents of the amplifiers in the loop"),
        Function("offset_before", (AMP,), always(Number(VOLT)), _offset_from("before"),
                 "what of offset_volts comes from stages before"),
        Function("feedback_loss",
                 (AMP, number("f", HERTZ, "a frequency"),
                  Parameter("inverting", lambda kind: isinstance(kind, YesNo), "yes or no")),
                 always(Number(DECIBEL)), _feedback_loss,
                 "dB that an amplifier's feedback takes off its gain at a frequency, against 1 kHz"),
        Function("largest_swing", (AMP,), always(Number(VOLT)), _largest_swing,
                 "peak of the largest sine that an amplifier's output can possibly give between its supplies"),
        Function("input_room", (AMP, SIDE, GUARANTEED), always(Number(VOLT)), _input_room,
                 "volts at rest from the input to the end of its range, below or above; guaranteed or usual"),
    )
}  # fmt: skip
