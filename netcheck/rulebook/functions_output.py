"""Functions of the rule language about output stages: what they do when they are driven, and how warm parts become.

The physics behind them is imported when the first number is asked for: numpy takes its time.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from netcheck.circuit.model import Part
from netcheck.ground.units import AMPERE, CELSIUS, DECIBEL, KELVIN_PER_WATT, OHM, VOLT, WATT, Unit, read_quantity, show
from netcheck.intake.assembly import SignalOutput
from netcheck.language.logic import bounds_of
from netcheck.language.scope import Trace
from netcheck.language.types import Function, ListOf, Number, Parameter, Text, Thing, Type, YesNo
from netcheck.language.values import Lot, Unknown, unite
from netcheck.physics.loads import Loads, ToldLoad
from netcheck.rulebook.at_rest import SHARE, spread_of
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.functions import PART_PARAMETER, PLACE, net_key
from netcheck.rulebook.nouns_assembly import signal_ends
from netcheck.rulebook.nouns_heat import heatsink_of
from netcheck.rulebook.signatures import always

if TYPE_CHECKING:
    from netcheck.physics.points import Range
    from netcheck.physics.stagework import StageWork, Work

_STAGES: WeakKeyDictionary[object, StageWork] = WeakKeyDictionary()
_LOADS: WeakKeyDictionary[Facts, Loads] = WeakKeyDictionary()
BODIES = "resistor bodies"
PHONES_WORDS, LEAST_PHONES, MOST_PHONES = "phones sockets", "least headphones", "most headphones"
LINE, LINE_SERIES = "line input", "resistor before a line"
SERIES, JOINT, WASHER = "resistor before headphones", "joint to a heatsink", "insulating washer"


def stages_of(facts: Facts) -> StageWork:
    """The output stages of a circuit, kept with its operating points."""
    from netcheck.physics.stagework import StageWork

    points = facts.at_rest.points
    if points not in _STAGES:
        _STAGES[points] = StageWork(points, spread_of(facts.words))
    return _STAGES[points]


def loads_of(facts: Facts) -> Loads:
    """What outputs lead to, kept."""
    if facts not in _LOADS:
        told = [
            ToldLoad(end.key, end.entry.loads, end.entry.sensitivity)
            for end in signal_ends(facts, outputs=True)
            if isinstance(end.entry, SignalOutput)
        ]
        words = facts.words
        phones = (words.limit(LEAST_PHONES).value, words.limit(MOST_PHONES).value)
        names = words.text_words(PHONES_WORDS)
        _LOADS[facts] = Loads(
            facts.walks,
            told,
            names,
            phones,
            words.limit(SERIES).value,
            words.limit(LINE).value,
            words.limit(LINE_SERIES).value,
        )
    return _LOADS[facts]


def _told(facts: Facts, found: Range, what: str, unit: Unit) -> float | Unknown:
    return found.told(what, unit, 0.0, facts.words.limit(SHARE).value)


# Loads


def _loads(facts: Facts, trace: Trace, a: object) -> Lot:
    trace.step()
    return Lot(loads_of(facts).ohms_at(net_key(a)))


def _least_load(facts: Facts, trace: Trace, a: object) -> float | Unknown:
    trace.step()
    found = loads_of(facts).ohms_at(net_key(a))
    if found:
        return found[0]
    return Unknown((f"what {facts.net_text(facts.circuit.nets[net_key(a)])} feeds is not told",), low=0.0)


def _told_outputs(facts: Facts, trace: Trace, a: object) -> Lot:
    pins = {one.pin for one in loads_of(facts).outputs_at(net_key(a))}
    return Lot(tuple(end for end in signal_ends(facts, outputs=True) if end.key in pins))


def _loads_told(facts: Facts, trace: Trace, a: object) -> bool:
    return any(one.ohms for one in loads_of(facts).outputs_at(net_key(a)))


def _outlets(facts: Facts, trace: Trace, a: object) -> Lot:
    trace.step()
    return Lot(loads_of(facts).outlets(net_key(a)))


def _direct_outlets(facts: Facts, trace: Trace, a: object) -> Lot:
    trace.step()
    return Lot(loads_of(facts).direct_outlets(net_key(a)))


def _phones_socket(facts: Facts, trace: Trace, a: object) -> Part | None:
    found = loads_of(facts).phones_at(net_key(a))
    if found is not None:
        trace.saw([found.key])
    return found


# A stage that is driven


def _work(facts: Facts, trace: Trace, a: object, load: float) -> Work | Unknown:
    trace.step()
    found = stages_of(facts).driven(net_key(a), load)
    return Unknown(found) if isinstance(found, tuple) else found


def _of_part(what: str, quantity: str, unit: Unit) -> Callable[..., object]:
    def get(facts: Facts, trace: Trace, part: Part, a: object, load: float) -> object:
        work = _work(facts, trace, a, load)
        if isinstance(work, Unknown):
            return work
        trace.saw([part.key])
        said = f"{what} {facts.text_of(part)}"
        found = work.of_part(quantity, part.key)
        if found is None:
            return Unknown((f"{said} when the output is driven is not computed",))
        return _told(facts, found, f"{said} {_with(load)}", unit)

    return get


def _with(load: float) -> str:
    if load == 0:
        return "with the output shorted"
    return "without a load" if math.isinf(load) else f"into {show(load, OHM)}"


def _swing(facts: Facts, trace: Trace, a: object, load: float) -> object:
    found = _work(facts, trace, a, load)
    if isinstance(found, Unknown):
        return found
    return _told(facts, found.swing, f"the largest swing {_with(load)}", VOLT)


def _limited_by(facts: Facts, trace: Trace, a: object, load: float) -> object:
    trace.step()
    found = stages_of(facts).limit(net_key(a), load)
    return Unknown(found) if isinstance(found, tuple) else found


def _loudness(facts: Facts, trace: Trace, a: object) -> object:
    """Sound pressure of the loudest of the told loads, at the largest level that the stage may give."""
    from netcheck.physics.levels import sound_level

    levels: list[float] = []
    for told in loads_of(facts).outputs_at(net_key(a)):
        for ohms in told.ohms if told.sensitivity is not None else ():
            found = _work(facts, trace, a, ohms)
            if isinstance(found, Unknown):
                return found
            assert told.sensitivity is not None
            levels.append(sound_level(found.most.level.volts, ohms, told.sensitivity))
    return max(levels) if levels else Unknown(("how loud what is plugged in is at a milliwatt is not given",))


# Temperatures


def thermal(facts: Facts, part: Part, name: str) -> float | Unknown:
    """A thermal resistance of the part book, in K/W."""
    found = part.record.figures.get(name) if part.record is not None else None
    if found is None or found.high is None:
        return Unknown((f"the thermal resistance of {facts.text_of(part)} is not known",), low=0.0)
    if found.low == found.high:
        return found.high
    return Unknown((f"the thermal resistance of {facts.text_of(part)} is not known closely",), found.low, found.high)


def _mounted(facts: Facts, part: Part) -> bool:
    """Whether a part is made to stand on a heatsink: the book tells how its case is cooled."""
    return part.record is not None and "thermal_to_case" in part.record.figures


def _celsius(
    facts: Facts, trace: Trace, part: object, watts: object = None, together: object = None, air: object = None
) -> object:
    if not isinstance(part, Part):
        return Unknown(("only a part has a temperature",))
    heat = facts.at_rest.watts(part) if watts is None else watts
    ambient = facts.assembled.file.ambient if facts.assembled is not None else None
    around = air if ambient is None else ambient
    if around is None:
        return Unknown(("the temperature round the box is not given",))
    low, high = bounds_of(heat)
    reasons = heat.reasons if isinstance(heat, Unknown) else ()
    sink = heatsink_of(facts, part) if _mounted(facts, part) else None
    cooled, free = _way_out(facts, part, sink, heat, together)
    if isinstance(sink, Unknown):
        watts_said = f", which takes up {show(high, WATT)}" if high is not None else ""
        why = (f"no heatsink is stated for {facts.text_of(part)}{watts_said}",)
        return Unknown(unite(why, reasons), _added(around, low, cooled[0]), _added(around, high, free[1]))
    ends = free if sink is None else cooled
    doubt = unite(reasons, ends[2])
    if not doubt:
        return _added(around, low, ends[0])
    return Unknown(doubt, _added(around, low, ends[0]), _added(around, high, ends[1]))


def temperature(facts: Facts, part: Part, watts: float) -> float | Unknown:
    """Degrees inside a part at so many watts, at the temperature round the box that is told."""
    found = _celsius(facts, Trace(), part, watts)
    return found if isinstance(found, Unknown) else float(found)  # type: ignore[arg-type]


WayOut = tuple[float | None, float | None, tuple[str, ...]]


def _way_out(facts: Facts, part: Part, sink: object, heat: object, together: object) -> tuple[WayOut, WayOut]:
    """Kelvins for each watt of a part over its heatsink, and in free air: lowest, highest, why they are apart.

    Source: thermal resistances in series add up, and a heatsink carries all that is on it; any data sheet of a power
    transistor.
    """
    free = thermal(facts, part, "thermal_to_air")
    case = thermal(facts, part, "thermal_to_case")
    words = facts.words
    in_air = (*bounds_of(free), free.reasons if isinstance(free, Unknown) else ())
    low, high = bounds_of(case)
    reasons = case.reasons if isinstance(case, Unknown) else ()
    to_air = getattr(sink, "to_air", None)
    if sink is None or isinstance(sink, Unknown) or to_air is None:
        why = (f"the thermal resistance of the heatsink of {facts.text_of(part)} is not given",)
        return (low, None, unite(reasons, why)), in_air
    joint = words.limit(JOINT).value
    if part.key in sink.insulated:  # type: ignore[attr-defined]
        joint += words.limit(WASHER).value
    least, most = _shares(heat, together, len(sink.parts))  # type: ignore[attr-defined]
    bottom = None if low is None or least is None else low + joint + to_air * least
    top = None if high is None or most is None else high + joint + to_air * most
    return (bottom, top, unite(reasons, together.reasons if isinstance(together, Unknown) else ())), in_air


def _shares(heat: object, together: object, parts: int) -> tuple[float | None, float | None]:
    """How many times the heat of one part the heatsink carries away: as many as parts, where nothing is told."""
    if together is None:
        return float(parts), float(parts)
    (low, high), (least, most) = bounds_of(heat), bounds_of(together)
    ends = [None if a is None or not b else a / b for a, b in ((least, low), (most, high))]
    return ends[0], ends[1]


def _added(around: object, watts: float | None, kelvins: float | None) -> float | None:
    assert isinstance(around, float | int)
    return None if watts is None or kelvins is None else around + watts * kelvins


def _to_air(facts: Facts, trace: Trace, part: Part) -> object:
    """Junction to air: over a heatsink that all parts on it heat alike, in free air where there is none."""
    sink = heatsink_of(facts, part) if _mounted(facts, part) else None
    if isinstance(sink, Unknown):
        low, _ = bounds_of(thermal(facts, part, "thermal_to_case"))
        _, high = bounds_of(thermal(facts, part, "thermal_to_air"))
        return Unknown(sink.reasons, low, high)
    low, high, reasons = _way_out(facts, part, sink, 1.0, None)[0 if sink is not None else 1]
    return Unknown(reasons, low, high) if reasons else low


# Ratings of resistors


def _body_watts(facts: Facts, trace: Trace, part: Part) -> float | Unknown:
    """What a resistor of the body that its footprint tells is rated for, as a rule."""
    footprint = part.footprint.rsplit(":", 1)[-1].upper()
    for entry in sorted(facts.words.text_words(BODIES)):
        body, _, watts = entry.partition(" ")
        rated = read_quantity(watts)
        if rated is not None and re.search(rf"(?<![0-9A-Z]){body}(?![0-9])", footprint.replace("DIN", "")):
            return float(rated.value)
    return Unknown((f"neither its value, a field nor its footprint tells what {facts.text_of(part)} is rated for",))


# The ends of a number


def _end(which: int) -> Callable[..., object]:
    def get(facts: Facts, trace: Trace, x: object) -> object:
        if x is None:
            return Unknown(("there is no number",))
        found = bounds_of(x)[which]
        return found if found is not None else x

    return get


def _same_number(types: Sequence[Type], named: Mapping[str, Type]) -> Type | str:
    return types[0]


def _number(name: str, unit: Unit, needed: bool = True, unknown: bool = False) -> Parameter:
    said = {OHM: "ohms", WATT: "watts", CELSIUS: "degrees Celsius"}[unit]
    return Parameter(
        name, lambda kind: isinstance(kind, Number) and (kind.unit == unit or kind.zero), said, needed, unknown
    )


_LOAD = _number("load", OHM)
_THING = Parameter("x", lambda kind: isinstance(kind, Thing), "a part")
_ANY_NUMBER = Parameter("x", lambda kind: isinstance(kind, Number), "a number", unknown_allowed=True)

OUTPUT_FUNCTIONS: dict[str, Function] = {
    function.name: function
    for function in (
        Function("loads", (PLACE,), always(ListOf(Number(OHM))), _loads,
                 "loads of an output, the least first: those told, else those usual for a socket for headphones"),
        Function("least_load", (PLACE,), always(Number(OHM)), _least_load,
                 "the least load of an output, as loads(a) has it; unknown where nothing tells what it feeds"),
        Function("told_outputs", (PLACE,), always(ListOf(Thing("signal output"))), _told_outputs,
                 "outputs that the assembly tells and that a net leads to"),
        Function("loads_told", (PLACE,), always(YesNo()), _loads_told, "whether the assembly tells loads of an output"),
        Function("outlets", (PLACE,), always(ListOf(Thing("part"))), _outlets,
                 "connectors that an output leads to, contacts of switches and relays taken as on"),
        Function("direct_outlets", (PLACE,), always(ListOf(Thing("part"))), _direct_outlets,
                 "those of them before which no capacitor stands"),
        Function("phones_socket", (PLACE,), always(Thing("part")), _phones_socket,
                 "the socket for headphones that an output leads to, nothing when it leads to none"),
        Function("driven_watts", (PART_PARAMETER, PLACE, _LOAD), always(Number(WATT)),
                 _of_part("the heat of", "watts", WATT),
                 "most mean heat of a part while the stage with its output on a drives a load, rest included"),
        Function("driven_amps", (PART_PARAMETER, PLACE, _LOAD), always(Number(AMPERE)),
                 _of_part("the current of", "amps", AMPERE),
                 "peak current of a part while the stage with its output on a drives a load"),
        Function("driven_volts", (PART_PARAMETER, PLACE, _LOAD), always(Number(VOLT)),
                 _of_part("the voltage across", "volts", VOLT),
                 "most volts across a part, collector to emitter, while the stage drives a load"),
        Function("stage_swing", (PLACE, _LOAD), always(Number(VOLT)), _swing,
                 "peak of the largest sine that a stage gives into a load"),
        Function("stage_limit", (PLACE, _LOAD), always(Text()), _limited_by,
                 "what ends the swing of a stage into a load, at the least current gain"),
        Function("stage_loudness", (PLACE,), always(Number(DECIBEL)), _loudness,
                 "sound pressure at the largest level into the loads told, dB SPL"),
        Function("celsius",
                 (_THING, _number("watts", WATT, False, True), _number("together", WATT, False, True),
                  _number("air", CELSIUS, False)),
                 always(Number(CELSIUS)), _celsius,
                 "temperature inside a part at so many watts, with all that its heatsink takes"),
        Function("to_air", (PART_PARAMETER,), always(Number(KELVIN_PER_WATT)), _to_air,
                 "kelvins a watt from the junction of a part to the air; all parts on a heatsink heat it alike"),
        Function("body_watts", (PART_PARAMETER,), always(Number(WATT)), _body_watts,
                 "what a resistor of the body that its footprint tells is rated for, as a rule"),
        Function("low_end", (_ANY_NUMBER,), _same_number, _end(0), "the low end of a number that is not certain"),
        Function("high_end", (_ANY_NUMBER,), _same_number, _end(1), "the high end of a number that is not certain"),
    )
}  # fmt: skip
