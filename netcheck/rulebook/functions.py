"""The functions of the rule language: one table that binds names to facts, with types, units and evidence."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence

from netcheck.circuit.kinds import types_in_fields
from netcheck.circuit.likenames import near_names, same_letters
from netcheck.circuit.model import KINDS, Net, Part, Pin
from netcheck.circuit.nametables import tables_of
from netcheck.ground.series import in_series
from netcheck.ground.units import (
    AMPERE,
    FARAD,
    HENRY,
    OHM,
    PLAIN,
    VOLT,
    WATT,
    Unit,
)
from netcheck.language.logic import apply, bounds_of, subtract
from netcheck.language.scope import Trace
from netcheck.language.types import (
    Anything,
    Function,
    ListOf,
    Nothing,
    Number,
    Parameter,
    Text,
    Thing,
    Type,
    Word,
    YesNo,
    joined,
    word_set,
)
from netcheck.language.values import Lot, Perhaps, Unknown, reasons_of
from netcheck.physics.bias import junctions
from netcheck.physics.feeding import rail_web
from netcheck.physics.following import followed
from netcheck.physics.volts import volts_range
from netcheck.rulebook.facts import Facts, SupplyPin
from netcheck.rulebook.nouns import NUMBER_KINDS, number_of

ALL_KINDS = frozenset(KINDS)


def _is_place(kind: Type) -> bool:
    return isinstance(kind, Thing) and kind.noun in ("pin", "net", "supply pin")


def _is_kinds(kind: Type) -> bool:
    if not isinstance(kind, ListOf) or isinstance(kind.item, Nothing):
        return isinstance(kind, ListOf)
    words = word_set(kind.item)
    return words is not None and words <= ALL_KINDS


def _is_text(kind: Type) -> bool:
    return isinstance(kind, Text | Word)


PLACE = Parameter("a", _is_place, "a pin or a net")
OTHER_PLACE = Parameter("b", _is_place, "a pin or a net")
KIND_LIST = Parameter("kinds", _is_kinds, "a list of kinds", needed=False)
THROUGH = Parameter("through", _is_kinds, "a list of kinds")
UP_TO = Parameter("up_to", lambda kind: isinstance(kind, Number) and kind.unit == OHM, "ohms")
PART_PARAMETER = Parameter("part", lambda kind: isinstance(kind, Thing) and kind.noun == "part", "a part")


def net_key(place: object) -> str:
    """The key of the net that a pin or a net stands for."""
    if isinstance(place, SupplyPin):
        return place.pin.net
    if isinstance(place, Pin):
        return place.net
    assert isinstance(place, Net)
    return place.key


def kinds_of(kinds: object) -> frozenset[str]:
    """Kinds of a list; all when it was left out."""
    if kinds is None:
        return ALL_KINDS
    assert isinstance(kinds, Lot)
    return frozenset(str(kind) for kind in kinds.members)


def _keys(things: Iterable[Part | Net]) -> list[str]:
    return [thing.key for thing in things]


def _not_fitted(facts: Facts, trace: Trace, parts: Iterable[Part]) -> None:
    for part in parts:
        trace.note(f"{facts.text_of(part)} would, but is not fitted")


def _resistance(facts: Facts, trace: Trace, a: object, b: object) -> object:
    found = facts.walks.resistance(net_key(a), net_key(b))
    trace.saw(_keys(facts.walks.parts_between(net_key(a), net_key(b), NUMBER_KINDS["ohms"])))
    _not_fitted(facts, trace, facts.walks.unfitted_between(net_key(a), net_key(b), frozenset({"resistor", "link"})))
    return found


def _parts_on(facts: Facts, trace: Trace, a: object, kinds: object = None) -> Lot:
    found = facts.walks.parts_on(net_key(a), kinds_of(kinds))
    trace.saw([net_key(a), *_keys(found)])
    return Lot(found)


def _parts_between(facts: Facts, trace: Trace, a: object, b: object, kinds: object = None) -> Lot:
    found = facts.walks.parts_between(net_key(a), net_key(b), kinds_of(kinds))
    trace.saw(_keys(found))
    _not_fitted(facts, trace, facts.walks.unfitted_between(net_key(a), net_key(b), kinds_of(kinds)))
    return Lot(found)


def _capacitors(facts: Facts, trace: Trace, a: object, b: object) -> Lot:
    found = facts.walks.capacitors(net_key(a), net_key(b))
    trace.saw(_keys(found))
    _not_fitted(facts, trace, facts.walks.unfitted_between(net_key(a), net_key(b), frozenset({"capacitor"})))
    return Lot(found)


def _around(parts: object) -> frozenset[str]:
    if parts is None:
        return frozenset()
    if isinstance(parts, Part):
        return frozenset({parts.key})
    assert isinstance(parts, Lot)
    members = [*parts.members, *(perhaps.member for perhaps in parts.perhaps)]
    return frozenset(part.key for part in members if isinstance(part, Part))


def _reach(facts: Facts, trace: Trace, a: object, through: object, around: object = None) -> Lot:
    found = facts.walks.reach(net_key(a), kinds_of(through), _around(around))
    trace.step(len(found.nets))
    trace.saw([*_keys(found.nets), *_keys(found.parts)])
    return Lot(found.nets, tuple(Perhaps(net, reasons) for net, reasons in found.perhaps))


def _follow(facts: Facts, trace: Trace, a: object, through: object) -> Lot:
    sure, perhaps = followed(facts.walks, net_key(a), kinds_of(through))
    trace.step(len(sure) + len(perhaps))
    trace.saw(_keys(sure))
    return Lot(sure, tuple(Perhaps(net, reasons) for net, reasons in perhaps))


def _rail_web(facts: Facts, trace: Trace, a: object, through: object, up_to: float) -> Lot:
    sure, perhaps = rail_web(facts.walks, net_key(a), kinds_of(through), up_to)
    trace.step(len(sure))
    trace.saw(_keys(sure))
    return Lot(sure, tuple(Perhaps(facts.circuit.nets[net], reasons) for net, reasons in perhaps.items()))


def _feeders(facts: Facts, trace: Trace, a: object, up_to: float) -> Lot:
    found = facts.feeding(net_key(a), up_to)
    trace.step(len(found.pins))
    trace.saw(found.rails)
    return Lot(found.pins, tuple(Perhaps(pin, reasons) for pin, reasons in found.perhaps))


def _fed_from(facts: Facts, trace: Trace, a: object, up_to: float) -> Lot:
    return Lot(facts.fed_from(net_key(a), up_to))


def _volts_high(facts: Facts, trace: Trace, a: object) -> object:
    return _end_of_volts(facts, a, 1)


def _volts_low(facts: Facts, trace: Trace, a: object) -> object:
    return _end_of_volts(facts, a, 0)


def _end_of_volts(facts: Facts, a: object, end: int) -> object:
    net = facts.circuit.nets[net_key(a)]
    nominal = facts.volts(net)
    found = volts_range(facts.circuit, net.key)[end]
    if net.role == "signal":
        known = facts.at_rest.ends(net)
        return nominal if known is None else known[end]
    return nominal if isinstance(nominal, Unknown) or found is None else found


def _path(facts: Facts, trace: Trace, a: object, b: object, through: object) -> object:
    found = facts.walks.path(net_key(a), net_key(b), kinds_of(through))
    if found is None or isinstance(found, Unknown):
        return found
    trace.saw(_keys(found))
    return Lot(found)


def _junctions(facts: Facts, trace: Trace, a: object, b: object, around: object = None) -> object:
    volts = tuple(facts.words.limit(f"{end} volts of a bias junction").value for end in ("least", "most"))
    return junctions(facts.walks, net_key(a), net_key(b), (volts[0], volts[1]), _around(around))


def _matches(facts: Facts, trace: Trace, shape: str, **names: object) -> object:
    found = facts.matches(shape)
    sure: list[object] = []
    unsure: list[Perhaps] = []
    told = [(name, key) for name, thing in names.items() if (key := getattr(thing, "key", None)) is not None]
    candidates = facts.matches_with(shape, *told[0]) if told else found.matches
    for match in candidates:
        if all(_stands_for(match.names.get(name), thing) for name, thing in names.items()):
            if match.unsure:
                unsure.append(Perhaps(match, match.unsure))
            else:
                sure.append(match)
    trace.step(len(candidates))
    return Lot(tuple(sure), tuple(unsure))


def _stands_for(one: object, other: object) -> bool:
    if isinstance(one, Lot):
        return any(_stands_for(member, other) for member in one.members)
    key, wanted = getattr(one, "key", None), getattr(other, "key", None)
    return key == wanted if key is not None and wanted is not None else one == other


def _leaves_board(facts: Facts, trace: Trace, a: object) -> object:
    pins = facts.walks.leaves_board(net_key(a))
    if not pins:
        return False
    trace.saw(pin.key for pin in pins)
    refs = dict.fromkeys(facts.text_of(facts.circuit.parts[pin.part]) for pin in pins)
    return Unknown(tuple(f"what {ref} is joined to is not given" for ref in refs))


def _volts(facts: Facts, trace: Trace, a: object) -> object:
    return facts.volts(facts.circuit.nets[net_key(a)])


def _volts_across(facts: Facts, trace: Trace, part: Part) -> object:
    if len(part.pins) != 2:
        return Unknown((f"{facts.text_of(part)} has not two pins",))
    ends = sorted(part.pins, key=lambda pin: pin.role in ("minus", "cathode"))
    nets = [facts.circuit.nets[pin.net] for pin in ends]
    found = subtract(*(facts.volts(net) for net in nets))
    if isinstance(found, Unknown) and any(net.role == "signal" for net in nets):
        return facts.at_rest.across(part, nets[0], nets[1], found)
    return found


def _amps(facts: Facts, trace: Trace, x: object) -> object:
    if isinstance(x, Part):
        return facts.at_rest.amps(x)
    if isinstance(x, Pin):
        return facts.at_rest.pin_amps(x)
    return Unknown(("a part or a pin has a current, nothing else",))


def _watts(facts: Facts, trace: Trace, part: object) -> object:
    return facts.at_rest.watts(part) if isinstance(part, Part) else Unknown(("only a part takes up heat",))


def _in_series(facts: Facts, trace: Trace, value: float, series: str) -> object:
    return in_series(value, series)


def _field(facts: Facts, trace: Trace, part: Part, name: str) -> object:
    for field, text in part.fields.items():
        if field.lower() == name.lower():
            return text
    return None


def _main_value(facts: Facts, trace: Trace, part: Part) -> object:
    return number_of(facts, part)


def _similar_names(facts: Facts, trace: Trace, net: Net) -> Lot:
    """Nets of the same board whose names end alike, or are alike but for signs between letters."""
    return Lot(tuple(other for other in facts.nets_of_similar_name(net)))


def _given_type(facts: Facts, trace: Trace, part: Part) -> str:
    """The maker's type number that a field of the part gives; '' when none does."""
    return next(iter(types_in_fields(part.fields.items(), tables_of(facts.words))), "")


def _near_names(facts: Facts, trace: Trace, net: Net, slips: float) -> Lot:
    """Nets of the same board whose names are so many slips of the pen away, nearest first."""
    return Lot(near_names(net, facts.nets, slips))


def _same_letters(facts: Facts, trace: Trace, net: Net) -> Lot:
    """Nets of the same board whose own names are made of the same letters."""
    return Lot(same_letters(net, facts.nets))


def _number_function(name: str, compute: Callable[[float], float], about: str) -> Function:
    def result(types: Sequence[Type], named: Mapping[str, Type]) -> Type | str:
        (kind,) = types
        assert isinstance(kind, Number)
        if name == "abs":
            return Number(kind.unit, kind.literal)
        if name == "sqrt":
            from fractions import Fraction

            return Number(kind.unit.to(Fraction(1, 2)))
        return Number(PLAIN) if kind.unit == PLAIN else f"{name} takes a plain number; this is in {kind.unit.name}"

    def call(facts: Facts, trace: Trace, value: object) -> object:
        if value is None:
            return Unknown((f"a number for {name} is missing",))
        if isinstance(value, Unknown):
            return _of_bounds(compute, name, value)
        return apply(lambda: compute(value), name)  # type: ignore[arg-type]

    number = Parameter("x", lambda kind: isinstance(kind, Number), "a number", unknown_allowed=True)
    return Function(name, (number,), result, call, about)


def _of_bounds(compute: Callable[[float], float], name: str, value: Unknown) -> Unknown:
    """The bounds of what comes out of a number between bounds; all but abs rise with it."""

    def end(bound: float | None) -> float | None:
        found = apply(lambda: compute(bound), name) if bound is not None else None
        return found if isinstance(found, float) else None

    low, high = value.low, value.high
    if name == "abs":
        ends = [abs(one) for one in (low, high) if one is not None]
        apart = (low is not None and low > 0) or (high is not None and high < 0)
        return Unknown(value.reasons, min(ends) if apart else 0.0, max(ends) if len(ends) == 2 else None)
    return Unknown(value.reasons, end(low), end(high))


def _extreme_function(name: str, choose: Callable[[Sequence[float]], float], about: str) -> Function:
    def result(types: Sequence[Type], named: Mapping[str, Type]) -> Type | str:
        common: Type = Anything()
        for kind in types:
            united = joined(common, kind)
            if united is None:
                return f"{name} wants numbers of one unit; this mixes {common} and {kind}"
            common = united
        return common

    def call(facts: Facts, trace: Trace, *values: object) -> object:
        if any(value is None for value in values):
            return Unknown((f"a number for {name} is missing",))
        lows, highs = zip(*(bounds_of(value) for value in values), strict=True)
        low = _choose_bound(lows, choose, name == "min")
        high = _choose_bound(highs, choose, name == "max")
        reasons = reasons_of(*values)
        return Unknown(reasons, low, high) if reasons and (low is None or low != high) else low

    number = Parameter("x", lambda kind: isinstance(kind, Number), "a number", unknown_allowed=True)
    return Function(name, (number,), result, call, about, many=True)


def _choose_bound(
    ends: Sequence[float | None], choose: Callable[[Sequence[float]], float], all_needed: bool
) -> float | None:
    """Bound of a minimum or maximum: a missing end matters only on the side that it could decide."""
    known = [end for end in ends if end is not None]
    if len(known) == len(ends):
        return choose(known)
    return None if all_needed or not known else choose(known)


def _fixed(kind: Type) -> Callable[[Sequence[Type], Mapping[str, Type]], Type | str]:
    return lambda types, named: kind


_MAIN_UNITS: dict[str, Unit] = {"ohms": OHM, "farads": FARAD, "henries": HENRY}


def _main_value_type(types: Sequence[Type], named: Mapping[str, Type]) -> Type | str:
    (part,) = types
    assert isinstance(part, Thing)
    if part.kinds is not None:
        for name, unit in _MAIN_UNITS.items():
            if part.kinds <= NUMBER_KINDS[name]:
                return Number(unit)
    return Number(PLAIN)


PARTS = ListOf(Thing("part"))


def _part_list(types: Sequence[Type], named: Mapping[str, Type]) -> Type | str:
    kinds = types[-1]
    words = word_set(kinds.item) if isinstance(kinds, ListOf) else None
    return ListOf(Thing("part", words)) if words else PARTS


_ANY_THING = Parameter("x", lambda kind: isinstance(kind, Thing), "a part, a pin or a net")
_TEXT = Parameter("text", _is_text, "a text")


FUNCTIONS: dict[str, Function] = {
    function.name: function
    for function in (
        Function("resistance", (PLACE, OTHER_PLACE), _fixed(Number(OHM)), _resistance,
                 "ohms of resistors and closed links directly between a and b; open if none"),
        Function("parts_on", (PLACE, KIND_LIST), _part_list, _parts_on, "parts with a pin on a"),
        Function("parts_between", (PLACE, OTHER_PLACE, KIND_LIST), _part_list, _parts_between,
                 "parts with one pin on a and one on b"),
        Function("capacitors", (PLACE, OTHER_PLACE), _fixed(ListOf(Thing("part", frozenset({"capacitor"})))),
                 _capacitors, "capacitors between a and b"),
        Function("reach",
                 (PLACE, THROUGH,
                  Parameter("around", lambda kind: isinstance(kind, ListOf | Thing), "parts not to be used", False)),
                 _fixed(ListOf(Thing("net"))), _reach,
                 "nets that can be got to from a through parts of those kinds; a rail, ground or mains net ends it"),
        Function("follow", (PLACE, THROUGH), _fixed(ListOf(Thing("net"))), _follow,
                 "nets in which the DC voltage of a has a say, through such parts and from inputs to outputs"),
        Function("rail_web", (PLACE, THROUGH, UP_TO), _fixed(ListOf(Thing("net"))), _rail_web,
                 "rails that are one supply with a, through parts of those kinds and resistors up to so many ohms"),
        Function("feeders", (PLACE, UP_TO), _fixed(ListOf(Thing("pin"))), _feeders,
                 "pins that can feed the rail a, looking through resistors up to so many ohms"),
        Function("fed_from", (PLACE, UP_TO), _fixed(ListOf(Thing("net"))), _fed_from,
                 "rails that a is fed through, the one furthest back first, a itself among them"),
        Function("path", (PLACE, OTHER_PLACE, THROUGH), _fixed(PARTS), _path,
                 "parts on a shortest way from a to b, nothing if there is none"),
        Function("junctions",
                 (PLACE, OTHER_PLACE,
                  Parameter("around", lambda kind: isinstance(kind, ListOf | Thing), "parts not to be used", False)),
                 _fixed(Number(PLAIN)), _junctions,
                 "junctions in series that hold a and b apart: diodes 1, VBE multipliers 1 + R1/R2; open if reversed"),
        Function("leaves_board", (PLACE,), _fixed(YesNo()), _leaves_board,
                 "whether a goes on beyond a connector: no, or unknown while nothing is said of the other side"),
        Function("volts", (PLACE,), _fixed(Number(VOLT)), _volts, "DC volts of a net against the zero"),
        Function("volts_high", (PLACE,), _fixed(Number(VOLT)), _volts_high,
                 "highest DC volts of a net, with the tolerance of what makes them"),
        Function("volts_low", (PLACE,), _fixed(Number(VOLT)), _volts_low,
                 "lowest DC volts of a net, with the tolerance of what makes them"),
        Function("volts_across", (PART_PARAMETER,), _fixed(Number(VOLT)), _volts_across,
                 "DC volts from the plus end to the minus end of a part of two pins"),
        Function("amps", (_ANY_THING,), _fixed(Number(AMPERE)), _amps,
                 "direct current at rest: through a part of two ends, into a collector or drain, into a pin"),
        Function("watts", (_ANY_THING,), _fixed(Number(WATT)), _watts, "what a part takes up at rest"),
        Function("in_series", (Parameter("x", lambda kind: isinstance(kind, Number), "a number"), _TEXT),
                 _fixed(YesNo()), _in_series, "whether a value is in a series of preferred values, 'E24'"),
        Function("field", (PART_PARAMETER, _TEXT), _fixed(Text()), _field, "a text that the designer gave the part"),
        Function("given_type", (PART_PARAMETER,), _fixed(Text()), _given_type,
                 "the maker's type number that a field of the part gives; '' when none does"),
        Function("main_value", (PART_PARAMETER,), _main_value_type, _main_value, "ohms, farads or henries by the kind"),
        Function("similar_names", (Parameter("net", lambda k: isinstance(k, Thing) and k.noun == "net", "a net"),),
                 _fixed(ListOf(Thing("net"))), _similar_names, "nets of the board whose given names end alike"),
        Function("near_names",
                 (Parameter("net", lambda k: isinstance(k, Thing) and k.noun == "net", "a net"),
                  Parameter("slips", lambda k: isinstance(k, Number) and k.unit == PLAIN, "how many slips of the pen")),
                 _fixed(ListOf(Thing("net"))), _near_names,
                 "nets of the board whose given names are at most so many slips of the pen away, nearest first"),
        Function("same_letters", (Parameter("net", lambda k: isinstance(k, Thing) and k.noun == "net", "a net"),),
                 _fixed(ListOf(Thing("net"))), _same_letters,
                 "nets of the board whose own names have the same letters in any order, as GNDA and AGND"),
        _number_function("abs", abs, "without its sign"),
        _number_function("sqrt", math.sqrt, "square root; halves the unit"),
        _number_function("ln", math.log, "natural logarithm"),
        _number_function("log10", math.log10, "logarithm to the base ten"),
        _number_function("exp", math.exp, "e to the power of x"),
        _extreme_function("min", min, "the smallest of its arguments"),
        _extreme_function("max", max, "the largest of its arguments"),
    )
}  # fmt: skip


def matches_function(shape_names: Mapping[str, Mapping[str, Type]]) -> Function:
    """matches('shape', name=x), checked against the names that each shape has."""

    def result(types: Sequence[Type], named: Mapping[str, Type]) -> Type | str:
        (kind,) = types
        name = kind.literal if isinstance(kind, Text) else None
        if name is None:
            return "matches wants the name of a shape in single quotes"
        if name not in shape_names:
            from netcheck.ground.names import did_you_mean

            return f"there is no shape '{name}'{did_you_mean(name, shape_names)}"
        for keyword in named:
            if keyword not in shape_names[name]:
                return f"the shape {name} has no name '{keyword}'; it has {', '.join(sorted(shape_names[name]))}"
        return ListOf(Thing(f"match {name}"))

    parameter = Parameter("shape", _is_text, "the name of a shape")
    about = "everything that has a shape in which a name stands for x"
    return Function("matches", (parameter,), result, _matches, about, keywords=True)


def documented(functions: Mapping[str, Function]) -> list[tuple[str, str]]:
    """Each function with its arguments, and what it gives; for `netcheck explain words`."""
    rows: list[tuple[str, str]] = []
    for name, function in functions.items():
        arguments = ", ".join(p.name if p.needed else f"[{p.name}]" for p in function.parameters)
        rows.append((f"{name}({arguments}{', …' if function.many or function.keywords else ''})", function.about))
    return rows
