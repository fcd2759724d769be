"""Volts of rails by what makes them: regulators fixed and adjustable, zener diodes, batteries; as ranges."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from netcheck.circuit.draft import Draft, called, refs
from netcheck.circuit.model import Figure, Part
from netcheck.circuit.netnames import volts_in_text


@dataclass(frozen=True, slots=True)
class Span:
    """A number that is known within bounds; the middle is None where only the bounds are known."""

    low: float | None = None
    middle: float | None = None
    high: float | None = None

    def moved(self, by: float) -> Span:
        """All three moved by an amount."""
        return Span(*(None if value is None else value + by for value in (self.low, self.middle, self.high)))


@dataclass(frozen=True, slots=True)
class Source:
    """Volts of a net and where they come from, a clause."""

    volts: Span
    origin: str


def regulator_output(part: Part, draft: Draft, volts_of: Callable[[str], Span | None]) -> tuple[str, Source] | None:
    """Output net of a regulator or converter and its volts, or None when they do not follow.

    Args:
        volts_of: volts of a net that are known already; 0 for the zero.
    """
    output = next((pin.net for pin in part.pins if pin.role == "output"), None)
    if output is None or output not in draft.nets or part.record is None:
        return None
    adjust = next((pin.net for pin in part.pins if pin.role == "adjust"), None)
    if part.record.output is not None:
        return _fixed(part, output, volts_of)
    if adjust is not None and adjust in draft.nets:
        return _adjustable(part, draft, output, adjust, volts_of)
    return None


def _fixed(part: Part, output: str, volts_of: Callable[[str], Span | None]) -> tuple[str, Source] | None:
    """Output against the ground pin, on top of what the ground pin stands on."""
    record = part.record
    foot = next((pin.net for pin in part.pins if pin.role == "ground"), None)
    base = volts_of(foot) if foot else None
    if record is None or record.output is None or base is None or base.middle is None:
        return None
    figure = record.figures.get("output_volts")
    low, high = (abs(f) if f is not None else None for f in (figure.low, figure.high)) if figure else (None, None)
    span = Span(low, abs(record.output), high)
    if record.output < 0:
        span = _negated(span)
    return output, Source(_sum(span, base), f"output of {called(part)}")


def _signed(span: Span, polarity: str) -> Span:
    return _negated(span) if polarity == "negative" else span


def _product(figure: Figure, ohms: Span) -> Span:
    """Volts that a current of the part book makes across a resistance."""
    amps = Span(figure.low, _middle(figure), figure.high)

    def times(a: float | None, b: float | None) -> float | None:
        return None if a is None or b is None else a * b

    return Span(times(amps.low, ohms.low), times(amps.middle, ohms.middle), times(amps.high, ohms.high))


def _middle(figure: Figure) -> float | None:
    if figure.low is None or figure.high is None:
        return figure.low if figure.high is None else figure.high
    return (figure.low + figure.high) / 2


def _negated(span: Span) -> Span:
    low, middle, high = (None if value is None else -value for value in (span.low, span.middle, span.high))
    return Span(high, middle, low)


def _sum(one: Span, other: Span) -> Span:
    def plus(a: float | None, b: float | None) -> float | None:
        return None if a is None or b is None else a + b

    return Span(plus(one.low, other.low), plus(one.middle, other.middle), plus(one.high, other.high))


def _adjustable(
    part: Part, draft: Draft, output: str, adjust: str, volts_of: Callable[[str], Span | None]
) -> tuple[str, Source] | None:
    """Output of an adjustable regulator from what is at its adjust pin.

    Floating types hold the volts between output and adjust pin: V = Vref (1 + R2 / R1) + Iadj R2 with R1 from
    output to adjust and R2 from adjust to ground (TI SLVS044Y sec. 9, read). Others hold the adjust pin against
    ground: V = Vref (1 + R1 / R2). A third sort sends a set current through one resistor to ground: V = Iset R.
    """
    record = part.record
    feet = [net for net in draft.nets if net not in (output, adjust) and _is_zero(volts_of(net))]
    lower = ohms_between(draft, adjust, set(feet))
    if record is None or lower is None or _otherwise_driven(part, draft, adjust):
        return None
    current = record.figures.get("set_current")
    if current is not None:
        span = _signed(_product(current, lower[0]), record.polarity)
        return output, Source(span, f"output of {called(part)}, set by {refs(lower[1], 4)}")
    upper = ohms_between(draft, adjust, {output})
    if upper is None:
        return None
    reference = record.figures.get("reference_volts")
    if reference is None or reference.low is None:
        return None
    adjust_current = record.figures.get("adjust_current")
    amps = (adjust_current.high or 0.0) if adjust_current else 0.0
    references = Span(reference.low, _middle(reference), reference.high)
    span = _divided(references, upper[0], lower[0], amps if _floating(part, draft) else 0.0, _floating(part, draft))
    setters = sorted({thing.key: thing for thing in (*upper[1], *lower[1])}.values(), key=lambda thing: thing.key)
    return output, Source(_signed(span, record.polarity), f"output of {called(part)}, set by {refs(setters, 4)}")


def _is_zero(span: Span | None) -> bool:
    return span is not None and span.middle == 0


def _floating(part: Part, draft: Draft) -> bool:
    names = draft.words.text_words("floating references")
    texts = (part.record.name if part.record else "", part.value.text, part.library_part)
    return any(name in text.upper() for name in names for text in texts)


def _otherwise_driven(part: Part, draft: Draft, adjust: str) -> bool:
    """Whether something besides resistors, capacitors and diodes is on the adjust net."""
    passive = draft.words.group("resistors") | {"capacitor", "diode", "test point"}
    return any(place.part.key != part.key and place.part.kind not in passive for place in draft.on[adjust])


def _divided(reference: Span, upper: Span, lower: Span, amps: float, floating: bool) -> Span:
    """Volts of the output over all that reference and resistors can be.

    >>> _divided(Span(1.2, 1.25, 1.3), Span(240, 240, 240), Span(2640, 2640, 2640), 0.0, True).middle
    15.0
    """

    def output(vref: float | None, top: float | None, bottom: float | None, current: float) -> float | None:
        if vref is None or top is None or bottom is None:
            return None
        near, far = (top, bottom) if floating else (bottom, top)
        return vref * (1 + far / near) + current * bottom if near else None

    narrow = (upper.high, lower.low) if floating else (upper.low, lower.high)
    wide = (upper.low, lower.high) if floating else (upper.high, lower.low)
    middle = output(reference.middle, upper.middle, lower.middle, amps / 2)
    return Span(output(reference.low, *narrow, 0.0), middle, output(reference.high, *wide, amps))


def ohms_between(draft: Draft, net: str, goals: set[str]) -> tuple[Span, tuple[Part, ...]] | None:
    """Ohms from a net to the nearest of some others, by resistors in parallel and chains of two.

    A variable resistor used from its wiper counts from nothing up and has no middle. None when nothing goes there
    or a value is not known.
    """
    branches = list(_branches(draft, net, goals))
    if not branches or any(span is None for span, _ in branches):
        return None
    spans = [span for span, _ in branches if span is not None]
    parts = tuple(part for _, chain in branches for part in chain)
    return Span(*(_parallel([getattr(span, end) for span in spans]) for end in ("low", "middle", "high"))), parts


def _parallel(ohms: list[float | None]) -> float | None:
    if any(value is None for value in ohms):
        return None
    known = [value for value in ohms if value is not None]
    return 0.0 if 0.0 in known else 1 / sum(1 / value for value in known)


def _branches(draft: Draft, net: str, goals: set[str]) -> Iterator[tuple[Span | None, tuple[Part, ...]]]:
    kinds = draft.words.group("resistors")
    seen: set[str] = set()
    for near, far in draft.across(net, kinds):
        if far.pin.net in goals and near.part.key not in seen:
            seen.add(near.part.key)
            yield _element(near.part, net, far.pin.net, draft), (near.part,)
    for near, far in draft.across(net, kinds):
        middle = far.pin.net
        if near.part.key in seen or middle in goals:
            continue
        others = {p.part.key: p.part for p in draft.on[middle] if p.part.kind not in ("capacitor", "test point")}
        others.pop(near.part.key, None)
        if len(others) == 1:
            (second,) = others.values()
            ends = sorted({pin.net for pin in second.pins} & goals)
            if second.kind in kinds and ends:
                seen.add(near.part.key)
                first, last = _element(near.part, net, middle, draft), _element(second, middle, ends[0], draft)
                yield (_sum(first, last) if first and last else None), (near.part, second)


def _element(part: Part, here: str, there: str, draft: Draft) -> Span | None:
    """Ohms of one part between two nets it is on."""
    ohms = part.value.number
    if ohms is None or part.kind == "resistor network":
        return None
    variable = draft.words.group("variable")
    ends = {pin.role for pin in part.pins if pin.net in (here, there)}
    if part.kind in variable and ("wiper" in ends or len(part.pins) < 3):
        return Span(0.0, None, ohms)
    tolerance = part.value.tolerance
    off = draft.words.limit("resistor spread").value if tolerance is None else tolerance
    return Span(ohms * (1 - off), ohms, ohms * (1 + off))


def zener_volts(draft: Draft, net: str, zero: Mapping[str, Span]) -> Source | None:
    """Volts of a net that a zener diode holds against a net of known volts and a resistor feeds."""
    if not draft.of_kind(net, {"resistor"}):
        return None
    for near, far in draft.across(net, {"zener"}):
        base = zero.get(far.pin.net)
        volts = near.part.value.rated_volts or volts_in_text(near.part.value.text)
        if base is None or base.middle is None or volts is None or near.pin.role not in ("anode", "cathode"):
            continue
        signed = volts if near.pin.role == "cathode" else -volts
        return Source(Span(None, signed, None).moved(base.middle), f"held by {called(near.part)}")
    return None


def battery_volts(part: Part) -> float | None:
    """Volts that a battery's value states, or None."""
    return volts_in_text(part.value)
