"""The secondary windings of transformers: volts, the current that they are made for, and which nets they end on.

A transformer of the chassis, or an adapter for alternating volts, is told by the assembly file. One on a board is told
by its value or description ("230V / 2x18V 30VA", "15-0-15 V"); which of its pins belong together follows from their
order, as symbols and windings are numbered (common practice, no source). A connector on a lone board may tell what
comes in there ("2 x 18 V~").
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass

from netcheck.circuit.model import Circuit, Part, Pin
from netcheck.circuit.words import Words
from netcheck.ground.names import natural_key
from netcheck.intake.assembly import ChassisPart

UNKNOWN_REGULATION = ("regulation least", "regulation most")
HIGHEST_SECONDARY = "most volts of a secondary"
MOST_LETTERS = 400
_POWER = re.compile(r"(\d{1,4}(?:[.,]\d{1,2})?)\s?VA\b", re.IGNORECASE)
_TWICE = re.compile(r"\b2\s?[xX*]\s?(\d{1,3}(?:[.,]\d{1,2})?)\s?V", re.IGNORECASE)
_TAPPED = re.compile(r"\b(\d{1,3}(?:[.,]\d{1,2})?)\s?V?\s?-\s?0\s?V?\s?-\s?\1\s?V?\b", re.IGNORECASE)
_VOLTS = re.compile(r"(?<![\d.,])(\d{1,3}(?:[.,]\d{1,2})?)\s?V(?!A\b)", re.IGNORECASE)
_ALTERNATING = re.compile(r"\d\s?V\s?(?:~|A\.?C\.?(?![A-Z]))", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Winding:
    """A secondary winding.

    Attributes:
        key: of the part and the winding. part: key. ends: nets that it begins and ends on.
        volts: rms at its rated load. amps: rms that it is made for; None when the power is not told.
        regulation: by how much its volts rise without load, least and most, as a fraction.
    """

    key: str
    part: str
    ends: tuple[str, str]
    volts: float
    amps: float | None
    regulation: tuple[float, float]

    def unloaded(self, regulation: float) -> float:
        """Volts rms without load."""
        return self.volts * (1 + regulation)

    def ohms(self, regulation: float) -> float | None:
        """Ohms of the winding with its share of the primary, seen from the load.

        Source: a rated resistive load takes `volts` of `volts (1 + regulation)`; the rest is lost in R at `amps`.

        >>> round(Winding("T.S1", "T", ("a", "b"), 18.0, 0.833, (0.12, 0.12)).ohms(0.12), 2)
        2.59
        """
        return None if self.amps is None else regulation * self.volts / self.amps


def windings(
    circuit: Circuit, words: Words, chassis: Mapping[str, ChassisPart], parts: Iterable[Part]
) -> tuple[Winding, ...]:
    """Secondary windings of transformers whose volts are told, and of those outside that connectors tell of.

    Args:
        chassis: chassis parts by key. parts: transformers, and connectors whose far side is not given.
    """
    found: list[Winding] = []
    for part in parts:
        told = chassis.get(part.key)
        if told is not None:
            found += _of_chassis(part, told, words)
        elif part.kind == "transformer" or tells_alternating(part):
            found += _of_board(circuit, part, words)
    return tuple(sorted(found, key=lambda winding: natural_key(winding.key)))


def tells_alternating(part: Part) -> bool:
    """Whether a connector's value tells alternating volts that come in there.

    >>> [_ALTERNATING.search(text) is not None for text in ("2 x 18 V~", "15-0-15 VAC", "12 V", "5 V ACTIVE")]
    [True, True, False, False]
    """
    return part.kind == "connector" and _ALTERNATING.search(part.value.text[:MOST_LETTERS]) is not None


def _of_chassis(part: Part, told: ChassisPart, words: Words) -> Iterator[Winding]:
    if told.sort == "ac adapter" and told.volts and len(part.pins) == 2:
        ends = (part.pins[0].net, part.pins[1].net)
        yield Winding(f"{part.key} S1", part.key, ends, told.volts, told.amps, _unknown_regulation(words))
    amps = _amps(told.power, told.secondaries)
    regulation = (told.regulation,) * 2 if told.regulation is not None else _unknown_regulation(words)
    for number, volts in enumerate(told.secondaries, start=1):
        pins = [pin for pin in part.pins if pin.unit == f"S{number}"]
        if len(pins) == 2 and volts > 0:
            yield Winding(f"{part.key} S{number}", part.key, (pins[0].net, pins[1].net), volts, amps, regulation)


def _unknown_regulation(words: Words) -> tuple[float, float]:
    least, most = (words.limit(name).value for name in UNKNOWN_REGULATION)
    return least, most


def _amps(power: float | None, volts: tuple[float, ...]) -> float | None:
    whole = sum(volts)
    return power / whole if power is not None and power > 0 and whole > 0 else None


def _of_board(circuit: Circuit, part: Part, words: Words) -> Iterator[Winding]:
    text = f"{part.value.text} {part.description if part.kind == 'transformer' else ''}"[:MOST_LETTERS]
    volts, power = secondary_volts(text, words.limit(HIGHEST_SECONDARY).value), _POWER.search(text)
    primary = words.text_words("primary pins")
    pins = [pin for pin in part.pins if _secondary(circuit, pin) and pin.name.upper() not in primary]
    pins.sort(key=lambda pin: natural_key(pin.number))
    if len(pins) == 3 and len(volts) == 2:
        pins = [pins[0], pins[1], pins[1], pins[2]]
    if not volts or len(pins) != 2 * len(volts):
        return
    amps = _amps(_number(power[1]) if power else None, volts)
    for number, one in enumerate(volts):
        ends = (pins[2 * number].net, pins[2 * number + 1].net)
        yield Winding(f"{part.key} S{number + 1}", part.key, ends, one, amps, _unknown_regulation(words))


def _secondary(circuit: Circuit, pin: Pin) -> bool:
    net = circuit.nets[pin.net]
    return net.role not in ("mains", "earth") and circuit.pins_on(net) != (pin,)


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def secondary_volts(text: str, highest: float) -> tuple[float, ...]:
    """Volts (rms) of the secondaries that a text tells; none when it does not tell them apart from the primary.

    Args:
        highest: volts beyond which a number is taken for that of the primary.

    >>> [secondary_volts(text, 90.0) for text in ("230V / 2x18V 30VA", "15-0-15V", "TR 230V:12V, 5 VA")]
    [(18.0, 18.0), (15.0, 15.0), (12.0,)]
    >>> secondary_volts("Transformer_1P_SS", 90.0)
    ()
    """
    readers: tuple[tuple[re.Pattern[str], Callable[[re.Match[str]], tuple[float, ...]]], ...] = (
        (_TWICE, lambda found: (_number(found[1]),) * 2),
        (_TAPPED, lambda found: (_number(found[1]),) * 2),
    )
    for pattern, read in readers:
        for found in pattern.finditer(text[:MOST_LETTERS]):
            volts = read(found)
            if 0 < volts[0] <= highest:
                return volts
    plain = [_number(found[1]) for found in _VOLTS.finditer(text[:MOST_LETTERS])]
    small = tuple(volts for volts in plain if 0 < volts <= highest)
    return small if len(small) == 1 else ()
