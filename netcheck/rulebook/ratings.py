"""One list of least ratings: what parts must stand whose rating nobody wrote down, and what to buy for it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from netcheck.circuit.conduction import TRANSISTORS
from netcheck.circuit.model import Net, Part
from netcheck.ground.names import natural_key
from netcheck.language.logic import subtract
from netcheck.language.values import Unknown
from netcheck.physics.behaviour import Behaviour, DeviceHeat, RatingRow
from netcheck.rulebook.facts import Facts

SPARE_VOLTS, SPARE_AMPS, SPARE_WATTS = "spare volts of a rating", "spare amps of a rating", "spare heat of a rating"
LEAST_HEAT, UNWRITTEN = "heat worth a rating", "volts worth a rating"
# What is sold. Source: catalogues of capacitors and resistors; common practice, no single source.
CAPACITOR_VOLTS = (6.3, 10.0, 16.0, 25.0, 35.0, 50.0, 63.0, 100.0, 160.0, 200.0, 250.0, 400.0, 450.0, 630.0, 1000.0)
RESISTOR_WATTS = (0.1, 0.125, 0.25, 0.4, 0.6, 1.0, 2.0, 3.0, 5.0, 10.0, 25.0, 50.0, 100.0)
MOST_ROWS = 60


def ratings_of(facts: Facts, behaviours: Iterable[Behaviour]) -> tuple[RatingRow, ...]:
    """Least ratings of parts that state none, equal ones together, capacitors first.

    Args:
        behaviours: of all boards; what is driven is told with the board that its path begins on.
    """
    driven: dict[str, DeviceHeat] = {}
    rest: dict[str, float] = {}
    for behaviour in behaviours:
        driven |= {device.part: device for device in behaviour.devices}
        rest |= {row.key: row.high for row in behaviour.heat if row.high is not None}
    rows: dict[tuple[object, ...], list[Part]] = {}
    for part in sorted(facts.circuit.parts.values(), key=lambda part: natural_key(part.key)):
        found = _needs(facts, part, driven.get(part.key), rest.get(part.key, 0.0)) if part.fitted else None
        if found is not None:
            same = part.value.number if part.value.number is not None else part.value.text
            rows.setdefault((part.kind in TRANSISTORS, part.kind, str(same), *found), []).append(part)
    told = [
        RatingRow(str(kind), parts[0].value.text, tuple(part.key for part in parts), *needs)  # type: ignore[arg-type]
        for (_, kind, _, *needs), parts in sorted(rows.items(), key=lambda pair: pair[0][:2])
    ]
    return tuple(told[:MOST_ROWS])


def _needs(facts: Facts, part: Part, driven: DeviceHeat | None, rest: float) -> tuple[float | None, ...] | None:
    """Least volts, amps and watts of a rating; None for a part that states one, or of which nothing is known."""
    words = facts.words
    if part.kind == "capacitor" and part.value.rated_volts is None:
        volts = _most_volts(facts, part)
        if volts is None or volts < words.limit(UNWRITTEN).value:
            return None
        return _next(volts * words.limit(SPARE_VOLTS).value, CAPACITOR_VOLTS), None, None
    watts = max(rest, driven.most if driven is not None else 0.0)
    if part.kind == "resistor" and part.value.rated_watts is None and watts >= words.limit(LEAST_HEAT).value:
        return None, None, _next(watts * words.limit(SPARE_WATTS).value, RESISTOR_WATTS)
    if part.kind in TRANSISTORS and driven is not None and (part.record is None or part.record.generic):
        return (
            _upward(driven.volts, words.limit(SPARE_VOLTS).value),
            _upward(driven.amps, words.limit(SPARE_AMPS).value),
            _upward(watts, words.limit(SPARE_WATTS).value),
        )
    return None


def _most_volts(facts: Facts, part: Part) -> float | None:
    """Most direct volts across a part of two ends, over all that varies; None where they have no bound."""
    nets = [facts.circuit.nets[pin.net] for pin in part.pins]
    if len(nets) != 2 or any(net.role == "mains" for net in nets):
        return None
    if all(net.role != "signal" for net in nets):
        return _most_between(nets)
    found = subtract(*(facts.volts(net) for net in nets))
    points = facts.at_rest.points.across(nets[0].key, nets[1].key)
    if not isinstance(points, Unknown):
        return max(abs(points.low), abs(points.high))
    if not isinstance(found, Unknown):
        return abs(float(found))  # type: ignore[arg-type]
    return None if found.low is None or found.high is None else max(abs(found.low), abs(found.high))


def _most_between(nets: Sequence[Net]) -> float | None:
    ends = [[end for end in (net.low, net.volts, net.high) if end is not None] for net in nets]
    ends = [found or ([0.0] if net.role == "ground" else []) for found, net in zip(ends, nets, strict=True)]
    return max(abs(a - b) for a in ends[0] for b in ends[1]) if all(ends) else None


def _next(value: float, sold: Sequence[float]) -> float:
    """The least that is sold and is enough.

    >>> _next(18.75, CAPACITOR_VOLTS)
    25.0
    """
    return next((one for one in sold if one >= value * (1 - 1e-9)), value)


def _upward(value: float | None, spare: float) -> float | None:
    """With something to spare, rounded up to two digits.

    >>> _upward(30.1, 1.25), _upward(None, 2.0)
    (38.0, None)
    """
    if not value:
        return None
    digits = 10.0 ** (len(f"{int(value * spare)}") - 2) if value * spare >= 1 else 0.01
    return round(-(-value * spare // digits) * digits, 6)
