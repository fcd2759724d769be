"""Functions of the rule language about signal paths: gain, corners, delay, noise, levels."""

from __future__ import annotations

import math

from netcheck.circuit.model import Part
from netcheck.ground.units import DECIBEL, HERTZ, OHM, PLAIN, SECOND, VOLT, show
from netcheck.language.scope import Trace
from netcheck.language.types import Function, ListOf, Number, Parameter, Text, Thing, Word, YesNo
from netcheck.language.values import Lot, Unknown, unite
from netcheck.physics.ports import SignalPath
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.functions import PART_PARAMETER, PLACE, net_key
from netcheck.rulebook.signals import loudness, signals_of
from netcheck.rulebook.signatures import always, number

MIDDLE = 1000.0
HIGHEST = 1e8  # no corner is looked for beyond
MOST_PATHS = 4  # of one part
STEPS = 50  # what a number of a path counts among the steps of a verdict


PATH = Parameter("path", lambda kind: isinstance(kind, Thing) and kind.noun == "signal path", "a signal path")
AT = number("f", HERTZ, "a frequency", needed=False)
LOW, HIGH = number("low", HERTZ, "a frequency"), number("high", HERTZ, "a frequency")
DROP = number("drop", DECIBEL, "decibels")
LOAD = number("load", OHM, "ohms")
SIDE = Parameter("side", lambda kind: isinstance(kind, Text | Word), "'low' or 'high'")


def _looked(facts: Facts, trace: Trace, path: SignalPath) -> None:
    trace.step(STEPS)
    trace.saw(end for end in (path.input.pin, path.output.pin) if end)


def _gain(facts: Facts, trace: Trace, path: SignalPath, f: float | None = None) -> object:
    _looked(facts, trace, path)
    return signals_of(facts).ask(path, lambda numbers: numbers.gain(MIDDLE if f is None else f))


def _full_gain(facts: Facts, trace: Trace, path: SignalPath) -> float | Unknown:
    _looked(facts, trace, path)
    return signals_of(facts).ask(path, lambda numbers: numbers.full_gain())


def _full_volts(facts: Facts, trace: Trace, path: SignalPath) -> object:
    """V rms that the largest level of the source makes with all controls fully open, were there no limit."""
    level = path.source.largest_volts if path.source is not None else None
    found = _full_gain(facts, trace, path)
    if level is None:
        return Unknown(("the largest level of the signal is not given",), low=0.0)
    return found if isinstance(found, Unknown) else level * 10 ** (found / 20)


def _controls(facts: Facts, trace: Trace, path: SignalPath) -> object:
    _looked(facts, trace, path)
    found = signals_of(facts).ask(path, lambda numbers: numbers.closing())
    return found if isinstance(found, Unknown) else Lot(tuple(facts.circuit.parts[key] for key in found))


def _inverts(facts: Facts, trace: Trace, path: SignalPath) -> object:
    _looked(facts, trace, path)
    return signals_of(facts).ask(path, lambda numbers: numbers.inverts())


def _flatness(facts: Facts, trace: Trace, path: SignalPath, low: float, high: float) -> object:
    _looked(facts, trace, path)
    if not 0 < low < high:
        return Unknown(("the band has no width",))
    return signals_of(facts).ask(path, lambda numbers: numbers.flatness(low, high))


def _delay(facts: Facts, trace: Trace, path: SignalPath, f: float | None = None) -> object:
    _looked(facts, trace, path)
    return signals_of(facts).ask(path, lambda numbers: numbers.delay(MIDDLE if f is None else f))


def _delay_spread(facts: Facts, trace: Trace, path: SignalPath, low: float, high: float) -> object:
    _looked(facts, trace, path)
    if not 0 < low < high:
        return Unknown(("the band has no width",))
    return signals_of(facts).ask(path, lambda numbers: numbers.delay_spread(low, high))


def _corner(facts: Facts, trace: Trace, path: SignalPath, side: str, drop: float) -> object:
    """Hertz; 0 where nothing falls below, unknown with its least value where nothing falls above."""
    _looked(facts, trace, path)
    found = signals_of(facts).ask(path, lambda numbers: numbers.corner(side, drop))
    if isinstance(found, Unknown):
        return found
    if found[0] is not None:
        return found[0]
    return 0.0 if side == "low" else Unknown(("the response does not fall that far",), low=HIGHEST)


def _corner_range(facts: Facts, trace: Trace, path: SignalPath, side: str, drop: float) -> object:
    """The corner where tolerances move it little, else unknown with its ends."""
    nominal = _corner(facts, trace, path, side, drop)
    found = signals_of(facts).ask(path, lambda numbers: numbers.corner_range(side, drop))
    if isinstance(nominal, Unknown) or found is None or isinstance(found, Unknown):
        return found if isinstance(found, Unknown) else nominal
    ends = f"{show(found[0], HERTZ)} and {show(found[1], HERTZ)}"
    return Unknown((f"the corner lies between {ends} over the tolerances of parts",), *found)


def _most_before(facts: Facts, trace: Trace, path: SignalPath) -> object:
    from netcheck.physics.pathlevels import most_before

    _looked(facts, trace, path)
    return signals_of(facts).ask(path, most_before)


def _corner_parts(facts: Facts, trace: Trace, path: SignalPath, side: str, drop: float) -> object:
    _looked(facts, trace, path)
    found = signals_of(facts).ask(path, lambda numbers: numbers.set_by(side, drop, signals_of(facts).named))
    if isinstance(found, Unknown):
        return found
    trace.saw(key for key, _ in found)
    return Lot(tuple(facts.circuit.parts[key] for key, _ in found))


def _corner_share(facts: Facts, trace: Trace, path: SignalPath, part: Part, side: str, drop: float) -> object:
    _looked(facts, trace, path)
    found = signals_of(facts).ask(path, lambda numbers: numbers.set_by(side, drop, signals_of(facts).named))
    return found if isinstance(found, Unknown) else dict(found).get(part.key, 0.0)


def _steepness(facts: Facts, trace: Trace, path: SignalPath, side: str, drop: float) -> object:
    _looked(facts, trace, path)
    return signals_of(facts).ask(path, lambda numbers: numbers.steepness(side, drop))


def _noise(facts: Facts, trace: Trace, path: SignalPath) -> object:
    from netcheck.physics.pathlevels import noise

    _looked(facts, trace, path)
    return signals_of(facts).ask(path, noise)


def _noise_weighted(facts: Facts, trace: Trace, path: SignalPath) -> object:
    from netcheck.physics.pathlevels import noise

    _looked(facts, trace, path)
    return signals_of(facts).ask(path, lambda numbers: noise(numbers, weighted=True))


def _loudness(facts: Facts, trace: Trace, path: SignalPath, v: float) -> object:
    return loudness(path, v)


def _noisiest(facts: Facts, trace: Trace, path: SignalPath) -> object:
    from netcheck.physics.pathlevels import noisiest

    _looked(facts, trace, path)
    found = signals_of(facts).ask(path, lambda numbers: noisiest(numbers, signals_of(facts).named))
    return found if isinstance(found, Unknown) else Lot(tuple(facts.circuit.parts[key] for key in found))


def _swing(facts: Facts, trace: Trace, path: SignalPath, load: float) -> object:
    from netcheck.physics.pathlevels import swing

    _looked(facts, trace, path)
    found = signals_of(facts).ask(path, lambda numbers: swing(numbers, load))
    return found if isinstance(found, Unknown) else found[0]


def _swing_limit(facts: Facts, trace: Trace, path: SignalPath, load: float) -> object:
    from netcheck.physics.pathlevels import swing

    _looked(facts, trace, path)
    found = signals_of(facts).ask(path, lambda numbers: swing(numbers, load))
    return found if isinstance(found, Unknown) else found[1]


def _input_ohms(facts: Facts, trace: Trace, path: SignalPath) -> object:
    _looked(facts, trace, path)
    return signals_of(facts).ask(path, lambda numbers: numbers.input_ohms())


def _output_ohms(facts: Facts, trace: Trace, path: SignalPath, f: float | None = None) -> object:
    _looked(facts, trace, path)
    return signals_of(facts).ask(path, lambda numbers: numbers.output_ohms(MIDDLE if f is None else f))


def _source_resistance(facts: Facts, trace: Trace, a: object, f: float | None = None) -> object:
    """By the first path in which the net has a say and that is computed."""
    node = facts.at_rest.points.node(net_key(a))
    found: object = Unknown(
        (f"no signal path leads through {facts.net_text(facts.circuit.nets[net_key(a)])}",), low=0.0
    )
    for path in signals_of(facts).with_nodes({node})[:MOST_PATHS]:
        _looked(facts, trace, path)
        found = signals_of(facts).ask(path, lambda numbers: numbers.ohms_at(node, MIDDLE if f is None else f))
        if not isinstance(found, Unknown):
            break
    return found


def _signal_volts(facts: Facts, trace: Trace, part: Part, f: float) -> object:
    """The most that any path with a part lays across it, at the largest level of its source.

    Where that level is not told it is at least nothing and at most what the supply of the path allows.
    """
    from netcheck.physics.pathlevels import across, most_at_input

    points = facts.at_rest.points
    nodes = {points.node(pin.net) for pin in part.pins} - points.plan.known.keys()
    if not nodes:
        return 0.0
    low = high = 0.0
    reasons: list[tuple[str, ...]] = []
    for path in signals_of(facts).with_nodes(nodes)[:MOST_PATHS]:
        _looked(facts, trace, path)
        per_volt = signals_of(facts).ask(path, lambda numbers: across(numbers, part.key, f))
        if isinstance(per_volt, Unknown):
            reasons.append(per_volt.reasons)
            high = math.inf
            continue
        level = path.source.largest_volts if path.source is not None else None
        if level is not None:
            low, high = max(low, per_volt * level), max(high, per_volt * level)
        elif per_volt > 0:
            most = signals_of(facts).ask(path, most_at_input)
            reasons.append(("the largest level of the signal is not given",))
            high = max(high, math.inf if isinstance(most, Unknown) else per_volt * most)
    return Unknown(unite(*reasons), low, None if math.isinf(high) else high) if reasons else low


SIGNAL_FUNCTIONS: dict[str, Function] = {
    function.name: function
    for function in (
        Function("gain", (PATH, AT), always(Number(DECIBEL)), _gain,
                 "gain of a signal path at a frequency (1 kHz if left out), from its source to its heaviest load"),
        Function("full_gain", (PATH,), always(Number(DECIBEL)), _full_gain,
                 "the same at 1 kHz with every control that can close the path fully open"),
        Function("full_volts", (PATH,), always(Number(VOLT)), _full_volts,
                 "V rms that the largest level of the source would make so, were there no limit"),
        Function("controls", (PATH,), always(ListOf(Thing("part"))), _controls,
                 "potentiometers of a path that can close it"),
        Function("inverts", (PATH,), always(YesNo()), _inverts,
                 "whether the output of a path goes down when its input goes up, at 1 kHz"),
        Function("flatness", (PATH, LOW, HIGH), always(Number(DECIBEL)), _flatness,
                 "largest deviation from the gain at 1 kHz between two frequencies, with any load that is told"),
        Function("delay", (PATH, AT), always(Number(SECOND)), _delay, "group delay of a path at a frequency"),
        Function("delay_spread", (PATH, LOW, HIGH), always(Number(SECOND)), _delay_spread,
                 "longest less shortest group delay between two frequencies"),
        Function("corner", (PATH, SIDE, DROP), always(Number(HERTZ)), _corner,
                 "where a path has fallen by so many dB from 1 kHz, on the 'low' or the 'high' side; 0 if nowhere low"),
        Function("corner_range", (PATH, SIDE, DROP), always(Number(HERTZ)), _corner_range,
                 "the same with the tolerances of its parts: from its lowest to its highest"),
        Function("corner_parts", (PATH, SIDE, DROP), always(ListOf(Thing("part"))), _corner_parts,
                 "parts that set such a corner, capacitors first, the one with most say before the others"),
        Function("corner_share", (PATH, PART_PARAMETER, SIDE, DROP), always(Number(PLAIN)), _corner_share,
                 "how much of such a corner a part sets: 1 for the capacitor of an RC by itself"),
        Function("steepness", (PATH, SIDE, DROP), always(Number(PLAIN)), _steepness,
                 "slope at such a corner as a power of the frequency: 0.5 at -3 dB of an RC by itself"),
        Function("noise", (PATH,), always(Number(VOLT)), _noise,
                 "noise at the output of a path, V rms between 20 Hz and 20 kHz, its source at rest"),
        Function("noise_weighted", (PATH,), always(Number(VOLT)), _noise_weighted, "the same, A-weighted"),
        Function("noisiest", (PATH,), always(ListOf(Thing("part"))), _noisiest, "parts that make most of that noise"),
        Function("loudness", (PATH, number("v", VOLT, "volts")), always(Number(DECIBEL)), _loudness,
                 "dB SPL that volts (rms) make in what hangs at the output, by the sensitivity that is told"),
        Function("swing", (PATH, LOAD), always(Number(VOLT)), _swing,
                 "largest undistorted sine at the output of a path into a load, V rms"),
        Function("swing_limit", (PATH, LOAD), always(Text()), _swing_limit, "what limits it, a clause"),
        Function("most_before", (PATH,), always(Number(VOLT)), _most_before,
                 "V rms of the source that distort though the controls that close the path are turned down"),
        Function("input_ohms", (PATH,), always(Number(OHM)), _input_ohms, "what a source meets at 1 kHz"),
        Function("output_ohms", (PATH, AT), always(Number(OHM)), _output_ohms, "what a load meets at a frequency"),
        Function("source_resistance", (PLACE, AT), always(Number(OHM)), _source_resistance,
                 "what a net of a signal path shows at a frequency, its source at rest and no load at its output"),
        Function("signal_volts", (PART_PARAMETER, number("f", HERTZ, "a frequency")), always(Number(VOLT)),
                 _signal_volts, "V rms of the largest signal across a part of two ends at a frequency"),
    )
}  # fmt: skip
