"""What rules can say of the mains side: where mains comes in, what is joined to what, what stands across the line."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from netcheck.circuit.model import Net, Part, Pin
from netcheck.ground.units import AMPERE, FARAD, OHM, VOLT_AMPERE
from netcheck.language.logic import add
from netcheck.language.scope import Trace
from netcheck.language.types import Attribute, Function, ListOf, Number, Parameter, Thing, Type, Word, YesNo
from netcheck.language.values import Lot, Perhaps, Unknown
from netcheck.physics.mains import AcrossLine, MainsEntry, MainsSide, texts
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.signatures import attr

_PART, _PIN, _NET = Thing("part"), Thing("pin"), Thing("net")
CLASSES = frozenset({"X1", "X2", "X3", "Y1", "Y2", "Y3", "Y4"})
# A class stands alone or behind another ("X1/Y2", "X1Y2"); the X in "6x1" and the Y in "Y5V" are none.
_CLASS = re.compile(r"(?:(?<![A-Z0-9])|(?<=[XY][1-4]))([XY][1-4])(?![0-9V])")
_VOLT_AMPERES = re.compile(r"(\d{1,5}(?:[.,]\d{1,2})?)\s?VA\b")
_VOLTS = re.compile(r"(?<![\d.,])(\d{2,3})(?:[.,]\d)?\s?V(?:AC)?(?![A-Z])")
_MAINS_VOLTS = (90, 260)  # from the lowest nominal mains of any country, 100 V - 10 %, to the highest, 240 V + 8 %


def _pole(name: str) -> Callable[[Any, Any], object]:
    def get(facts: Facts, entry: MainsEntry) -> object:
        found = getattr(entry, name)
        said = f"which pin of {facts.text_of(facts.circuit.parts[entry.key])} is the {name} is not known"
        return found if found is not None else Unknown((said,))

    return get


def _fused(facts: Facts, entry: MainsEntry) -> object:
    """Whether there is a fuse before the entry's own pins."""
    part = facts.circuit.parts[entry.key]
    if any(word in texts(part) for word in facts.words.text_words("fused inlets")):
        return True
    if part.kind == "connector" and not facts.is_mated(part):
        return Unknown((f"what {facts.text_of(part)} is joined to is not given",))
    return False


def _case_bonded(facts: Facts, entry: MainsEntry) -> object:
    """Whether a protective conductor that ends on the drawing does so with reason: a case that is not metal."""
    case = facts.assembled.file.case if facts.assembled is not None else None
    if case is None or not case.material:
        return Unknown(("what the case is made of, and where it is bonded, is not given",))
    return case.material != "metal"


ENTRY_ATTRIBUTES: dict[str, Attribute] = {
    "part": attr(_PART, lambda facts, entry: facts.circuit.parts[entry.key]),
    "poles": attr(ListOf(_PIN), lambda facts, entry: Lot(entry.poles)),
    "line": attr(_PIN, _pole("line")),
    "neutral": attr(_PIN, _pole("neutral")),
    "earths": attr(ListOf(_PIN), lambda facts, entry: Lot(entry.earths)),
    "fused": attr(YesNo(), _fused),
    "no_metal_case": attr(YesNo(), _case_bonded),
    "side": attr(
        Thing("mains side"), lambda facts, entry: next(side for side in facts.mains.sides if entry in side.entries)
    ),
}
SIDE_ATTRIBUTES: dict[str, Attribute] = {
    "nets": attr(ListOf(_NET), lambda facts, side: Lot(side.nets)),
    "parts": attr(ListOf(_PART), lambda facts, side: Lot(side.parts)),
    "entries": attr(ListOf(Thing("mains entry")), lambda facts, side: Lot(side.entries)),
    "bridges": attr(ListOf(_PART), lambda facts, side: Lot(_bridges(side))),
}


def _bridges(side: MainsSide) -> tuple[Part, ...]:
    """Parts with a pin on the mains side and one off it."""
    nets = {net.key for net in side.nets}
    return tuple(part for part in side.parts if any(pin.net not in nets for pin in part.pins))


def _farads(facts: Facts, across: AcrossLine) -> object:
    return _total(facts, across.capacitors, "capacitor")


def _total(facts: Facts, parts: tuple[Part, ...], kind: str) -> object:
    found: object = 0.0
    for part in parts:
        number = part.value.number
        said = f"{facts.text_of(part)} has the value '{part.value.text}'"
        found = add(found, number if number is not None else Unknown((said,), 0.0, None))
    return found


def _bleed_ohms(facts: Facts, across: AcrossLine) -> object:
    """Ohms of all chains of resistors in parallel; what else may discharge leaves open how much less it is."""
    low = high = 0.0  # siemens
    reasons: list[str] = []
    for chain in across.chains:
        ohms = _total(facts, chain, "resistor")
        if isinstance(ohms, Unknown):
            reasons += ohms.reasons
            high += 1 / ohms.low if ohms.low else float("inf")
        else:
            assert isinstance(ohms, float)
            low, high = (each + (1 / ohms if ohms else float("inf")) for each in (low, high))
    for part in across.others:
        reasons.append(f"whether {facts.text_of(part)} discharges what is across its input is not known")
        high = float("inf")
    most, least = (1 / each if each else float("inf") for each in (low, high))
    return Unknown(tuple(dict.fromkeys(reasons)), least, most) if reasons else most


ACROSS_ATTRIBUTES: dict[str, Attribute] = {
    "capacitors": attr(ListOf(Thing("part", frozenset({"capacitor"}))), lambda facts, at: Lot(at.capacitors)),
    "farads": attr(Number(FARAD), _farads),
    "bleeds": attr(
        ListOf(Thing("part", frozenset({"resistor"}))),
        lambda facts, at: Lot(tuple({part.key: part for chain in at.chains for part in chain}.values())),
    ),
    "bleed_ohms": attr(Number(OHM), _bleed_ohms),
    "windings": attr(ListOf(_PART), lambda facts, at: Lot(at.windings)),
    "entry": attr(Thing("mains entry"), lambda facts, at: at.entry),
}
MAINS_ATTRIBUTES: dict[str, Mapping[str, Attribute]] = {
    "mains entry": ENTRY_ATTRIBUTES,
    "mains side": SIDE_ATTRIBUTES,
    "across the line": ACROSS_ATTRIBUTES,
}


# Functions


def _conducted(facts: Facts, trace: Trace, a: Any, through: Lot, around: object = None) -> Lot:
    kinds = frozenset(str(kind) for kind in through.members)
    found = facts.mains.conducted(a.net if isinstance(a, Pin) else a.key, kinds, _reasons(around))
    trace.step(len(found))
    trace.saw(found)
    nets = facts.circuit.nets
    sure = tuple(nets[key] for key, doubt in found.items() if not doubt)
    return Lot(sure, tuple(Perhaps(nets[key], doubt) for key, doubt in found.items() if doubt))


def _reasons(around: object) -> dict[str, tuple[str, ...]]:
    """Keys of parts to go around, each with why it may not be one of them; () where it surely is."""
    if isinstance(around, Part):
        return {around.key: ()}
    if not isinstance(around, Lot):
        return {}
    unsure = {perhaps.member.key: perhaps.reasons for perhaps in around.perhaps if isinstance(perhaps.member, Part)}
    return unsure | {part.key: () for part in around.members if isinstance(part, Part)}


def _far_side_given(facts: Facts, trace: Trace, part: Part) -> object:
    if part.kind != "connector" or facts.is_mated(part):
        return True
    return Unknown((f"what {facts.text_of(part)} is joined to is not given",))


def _is_case(facts: Facts, trace: Trace, net: Net) -> bool:
    case = facts.assembled.case if facts.assembled is not None else ""
    return net.role == "chassis" or net.key == case


def safety_classes(text: str) -> tuple[str, ...]:
    """Classes of interference suppression capacitors (IEC 60384-14) that a text names.

    >>> safety_classes("2.2NF X1/Y2 250VAC"), safety_classes("100NF 275V MKP X2"), safety_classes("10UF Y5V 6X1MM")
    (('X1', 'Y2'), ('X2',), ())
    """
    return tuple(dict.fromkeys(_CLASS.findall(text)))


def _safety_classes(facts: Facts, trace: Trace, part: Part) -> object:
    found = safety_classes(texts(part))
    if found or part.value.rated_volts is not None or part.value.dielectric:
        return Lot(found)
    return Unknown((f"nothing says of which safety class (X or Y) {facts.text_of(part)} is",))


def _volt_amperes(facts: Facts, trace: Trace, part: Part) -> object:
    found = _VOLT_AMPERES.search(texts(part))
    if found is None:
        return Unknown((f"{facts.text_of(part)} has no stated VA",))
    return float(found[1].replace(",", "."))


def _primary_amps(facts: Facts, trace: Trace, part: Part) -> object:
    """Amperes rms that a transformer takes from the mains at its rated load; those of the lower of two volts."""
    least, most = _MAINS_VOLTS
    volts = [volts for volts in map(int, _VOLTS.findall(texts(part))) if least <= volts <= most]
    power = _volt_amperes(facts, trace, part)
    if not isinstance(power, float):
        return power
    return power / min(volts) if volts else Unknown((f"{facts.text_of(part)} has no stated mains volts",))


def _insulates(facts: Facts, trace: Trace, part: Part) -> object:
    """Whether a part that reaches over from the mains side insulates; by its kind, or by what it says of itself."""
    said = facts.text_of(part)
    if part.kind == "relay" and not part.by_role("coil"):
        return Unknown((f"the pins of {said} are not known: which is its coil?",))
    if part.kind in ("converter", "module"):
        for answer, words in ((False, "modules without insulation"), (True, "insulating modules")):
            if any(word in texts(part) for word in facts.words.text_words(words)):
                return answer
        return Unknown((f"nothing says whether {said} insulates its output from the mains",))
    return True


def _fixed(kind: Type) -> Callable[..., Type | str]:
    return lambda types, named: kind


_PLACE = Parameter("a", lambda kind: isinstance(kind, Thing) and kind.noun in ("pin", "net"), "a pin or a net")
_THROUGH = Parameter("through", lambda kind: isinstance(kind, ListOf), "a list of kinds")
_AROUND = Parameter("around", lambda kind: isinstance(kind, ListOf | Thing), "parts not to be used", needed=False)
_ONE_PART = Parameter("part", lambda kind: isinstance(kind, Thing) and kind.noun == "part", "a part")
MAINS_FUNCTIONS: dict[str, Function] = {
    function.name: function
    for function in (
        Function("conducted", (_PLACE, _THROUGH, _AROUND), _fixed(ListOf(_NET)), _conducted,
                 "nets joined to a through parts of those kinds and cables, whatever their role; switches taken as on"),
        Function("far_side_given", (_ONE_PART,), _fixed(YesNo()), _far_side_given,
                 "yes where it is told what a connector is joined to, else unknown; yes for other parts"),
        Function("is_case", (Parameter("net", lambda kind: isinstance(kind, Thing) and kind.noun == "net", "a net"),),
                 _fixed(YesNo()), _is_case, "whether a net is that of the case"),
        Function("safety_classes", (_ONE_PART,), _fixed(ListOf(Word(CLASSES))), _safety_classes,
                 "classes X1 to Y4 that a capacitor says it is of; unknown when it says nothing at all"),
        Function("volt_amperes", (_ONE_PART,), _fixed(Number(VOLT_AMPERE)), _volt_amperes,
                 "VA of a transformer, from its value or description"),
        Function("primary_amps", (_ONE_PART,), _fixed(Number(AMPERE)), _primary_amps,
                 "amps rms that a transformer takes from the mains at its rated load, by its value or description"),
        Function("insulates", (_ONE_PART,), _fixed(YesNo()), _insulates,
                 "whether a part across the barrier between mains and the rest insulates"),
    )
}  # fmt: skip
