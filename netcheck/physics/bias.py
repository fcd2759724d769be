"""How far the bases of an output stage are held apart: junctions in series, counted from the drawing.

The count is a fact of topology. What current the stage then draws depends on temperature and on the parts themselves
and is for the operating point to tell.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from weakref import WeakKeyDictionary

from netcheck.circuit.conduction import VARIABLE
from netcheck.circuit.model import Part
from netcheck.circuit.walk import STOPS, Walks, natural_key
from netcheck.language.values import Unknown, unite

LONGEST_WAY = 12
MOST_STEPS = 4000

Ends = tuple[float, float]

_RESISTIVE = frozenset({"resistor", "thermistor", "photoresistor"}) | VARIABLE
_PLAIN = frozenset({"link", "fuse", "ferrite", "inductor"})
_WITH_VOLTS = frozenset({"led", "zener", "surge diode", "reference"})
_BIPOLAR = frozenset({"npn", "pnp"})


@dataclass(frozen=True, slots=True)
class Step:
    """From one net to another through one part.

    Attributes:
        low, high: junctions in between. reasons: why the two differ. junction: whether there is any.
        controlled: through a transistor whose base hangs elsewhere, such as one that limits the current.
    """

    part: Part
    to: str
    low: float
    high: float
    junction: bool
    reasons: tuple[str, ...] = ()
    controlled: bool = False


@dataclass(frozen=True, slots=True)
class Multiplier:
    """A transistor that multiplies its own base-emitter voltage by a divider from `top` to `bottom`.

    Attributes:
        device: the transistor. top: net of the divider's end towards the collector, bottom: towards the emitter.
        low, high: of the factor 1 + R(top to base) / R(base to bottom). reasons: why the two differ.
    """

    device: Part
    top: str
    bottom: str
    low: float
    high: float
    reasons: tuple[str, ...] = ()


_MULTIPLIERS: WeakKeyDictionary[Walks, tuple[Multiplier, ...]] = WeakKeyDictionary()


def junctions(walks: Walks, a: str, b: str, volts: Ends, around: frozenset[str] = frozenset()) -> float | Unknown:
    """Junction drops in series that hold two nets apart.

    A diode counts 1 either way round a current from one net to the other can flow, a transistor whose base hangs on a
    divider across it 1 + R1/R2, one whose base is on its collector 1. A resistor at the end of which only bases hang
    carries no more than base current and counts 0. Other resistors in series drop what is not known here; beside a way
    with junctions, ways of resistors alone do not count.

    Args:
        walks: the circuit. a, b: keys of nets. volts: least and most of one silicon junction there.
        around: keys of parts not to be walked through.

    Returns:
        The count of the way with fewest; infinity when the only way has a diode the wrong way round; `Unknown` with
        bounds when parts of it are not known, or when nothing joins the two.

    Source: VBE (1 + R1/R2) of the VBE multiplier; any text on power amplifiers.
    """
    if a == b:
        return 0.0
    found = [way for start, end in ((a, b), (b, a)) for way in _ways(walks, start, end, volts, around)]
    if any(way.high == 0 for way in found):
        return 0.0
    steady = [way for way in found if way.junction and not way.controlled]
    chosen = steady or [way for way in found if way.junction] or found
    if chosen:
        best = min(chosen, key=lambda way: (way.low, way.high, natural_key(way.part.key)))
        high = min(way.high for way in chosen)
        if best.low == high:
            return best.low
        return Unknown(best.reasons, best.low, None if math.isinf(high) else high)
    if _ways(walks, a, b, volts, around, any_direction=True):
        return math.inf
    return Unknown(("what holds the bases apart is not seen",))


def multipliers(walks: Walks) -> tuple[Multiplier, ...]:
    """Every transistor of the circuit with a divider across it from which its base is fed; looked for once."""
    if walks in _MULTIPLIERS:
        return _MULTIPLIERS[walks]
    found = []
    for kind in sorted(_BIPOLAR):
        for part in walks.by_kind.get(kind, ()):
            one = multiplier_of(walks, part)
            if one is not None:
                found.append(one)
    return _MULTIPLIERS.setdefault(walks, tuple(found))


def multiplier_of(walks: Walks, part: Part) -> Multiplier | None:
    """A transistor as a multiplier of its base-emitter voltage, or None."""
    nets = [pins[0].net if (pins := part.by_role(role)) else "" for role in ("collector", "base", "emitter")]
    collector, base, emitter = nets
    if not all(nets) or base in (collector, emitter) or walks.circuit.nets[base].role in STOPS:
        return None
    below = walks.resistance(base, emitter)
    if below == math.inf:
        return None
    for top in _resistor_neighbours(walks, base):
        near = top == collector or (
            walks.circuit.nets[top].role not in STOPS and walks.parts_between(top, collector, _RESISTIVE)
        )
        if top != emitter and near:
            above = walks.resistance(base, top)
            (low_up, high_up), (low_down, high_down) = _ends(above), _ends(below)
            low = 1 + (low_up / high_down if high_down else math.inf)
            high = 1 + (high_up / low_down if low_down else math.inf)
            reasons = unite(*(one.reasons for one in (above, below) if isinstance(one, Unknown)))
            return Multiplier(part, top, emitter, low, high, reasons)
    return None


def _ends(ohms: float | Unknown) -> tuple[float, float]:
    if isinstance(ohms, Unknown):
        return ohms.low or 0.0, math.inf if ohms.high is None else ohms.high
    return ohms, ohms


def _resistor_neighbours(walks: Walks, net: str) -> list[str]:
    """Nets at the far end of resistors on a net, through chains of them."""
    found: dict[str, None] = {}
    for part in walks.parts_on(net, _RESISTIVE):
        for pin in part.pins:
            if pin.net != net:
                found[pin.net] = None
                if walks.count_on(pin.net) == 2:
                    for other in walks.parts_on(pin.net, _RESISTIVE):
                        found.update((far.net, None) for far in other.pins if far.net not in (net, pin.net))
    return sorted(found, key=natural_key)


def _ways(walks: Walks, a: str, b: str, volts: Ends, around: frozenset[str], any_direction: bool = False) -> list[Step]:
    """Each simple way from a to b as one step, its parts added up."""
    found: list[Step] = []
    left = MOST_STEPS
    whole_ones = tuple(one for one in multipliers(walks) if one.device.key not in around)

    def go(net: str, seen: frozenset[str], sum_: Step | None) -> None:
        nonlocal left
        for step in (*_steps(walks, net, volts, around, any_direction), *_through_multipliers(whole_ones, net)):
            left -= 1
            if left < 0 or step.to in seen:
                continue
            whole = step if sum_ is None else _added(sum_, step)
            if step.to == b:
                found.append(whole)
            elif walks.circuit.nets[step.to].role not in STOPS and len(seen) < LONGEST_WAY:
                go(step.to, seen | {step.to}, whole)

    if walks.circuit.nets[a].role not in STOPS:
        go(a, frozenset({a}), None)
    return [way for way in found if way.junction] if any_direction else found


def _added(one: Step, other: Step) -> Step:
    return Step(
        one.part,
        other.to,
        one.low + other.low,
        one.high + other.high,
        one.junction or other.junction,
        unite(one.reasons, other.reasons),
        one.controlled or other.controlled,
    )


def _steps(walks: Walks, net: str, volts: Ends, around: frozenset[str], any_direction: bool) -> Iterator[Step]:
    for kind, pins in sorted(walks.on(net).items()):
        for pin in pins:
            part = walks.circuit.parts[pin.part]
            if part.key in around:
                continue
            if kind in _PLAIN or kind in _RESISTIVE:
                for other, _ in walks.across(pin):
                    yield _through_resistor(walks, part, net, other.net)
            elif kind == "diode" or kind in _WITH_VOLTS:
                yield from _through_diode(walks, part, net, volts, any_direction)
            elif kind in _BIPOLAR:
                yield from _through_transistor(walks, part, net)


def _through_resistor(walks: Walks, part: Part, net: str, to: str) -> Step:
    if part.kind in _PLAIN or part.value.number == 0 or _bases_only(walks, net) or _bases_only(walks, to):
        return Step(part, to, 0.0, 0.0, False)
    return Step(part, to, 0.0, math.inf, False, (f"what {walks.said(part)} drops is not computed yet",))


def _bases_only(walks: Walks, net: str) -> bool:
    """Whether a net takes base current alone: one resistor, else bases, gates and capacitors."""
    feeding = bases = 0
    for pin in (pin for kind, pins in walks.on(net).items() if kind != "capacitor" for pin in pins):
        if pin.role in ("base", "gate"):
            bases += 1
        elif (feeding := feeding + 1) > 1:  # a rail is not gone through to its end
            return False
    return feeding == 1 and bases > 0


def _through_diode(walks: Walks, part: Part, net: str, volts: Ends, any_direction: bool) -> Iterator[Step]:
    """From anode to cathode; a zener or a reference from cathode to anode too."""
    ends = {role: pins[0].net for role in ("anode", "cathode") if (pins := part.by_role(role))}
    if len(ends) < 2:
        return
    if ends["anode"] == net and part.kind not in ("reference",):
        low, high, reasons = _forward(walks, part, volts)
        yield Step(part, ends["cathode"], low, high, True, reasons)
    elif ends["cathode"] == net and part.kind in ("zener", "reference", "surge diode"):
        reason = f"how many junctions {walks.said(part)} is worth is not computed yet"
        yield Step(part, ends["anode"], 1.0, math.inf, True, (reason,))
    elif ends["cathode"] == net and any_direction:
        yield Step(part, ends["anode"], 1.0, 1.0, True)


def _forward(walks: Walks, part: Part, volts: Ends) -> tuple[float, float, tuple[str, ...]]:
    if part.kind == "diode":
        return 1.0, 1.0, ()
    figure = part.record.figures.get("forward_volts") if part.record is not None else None
    low = figure.low / volts[1] if figure is not None and figure.low else 1.0
    high = figure.high / volts[0] if figure is not None and figure.high else math.inf
    return low, high, (f"how many junctions {walks.said(part)} is worth is not computed yet",)


def _through_transistor(walks: Walks, part: Part, net: str) -> Iterator[Step]:
    collector, base, emitter = (
        pins[0].net if (pins := part.by_role(role)) else "" for role in ("collector", "base", "emitter")
    )
    if not (collector and base and emitter):
        return
    up, down = (collector, emitter) if part.kind == "npn" else (emitter, collector)
    if net != up or multiplier_of(walks, part) is not None:
        return
    if base == collector:
        yield Step(part, down, 1.0, 1.0, True)
    else:
        reason = f"how far {walks.said(part)} conducts is not computed yet"
        yield Step(part, down, 0.0, math.inf, True, (reason,), controlled=True)


def _through_multipliers(found: Iterable[Multiplier], net: str) -> Iterator[Step]:
    """Along the current; a resistor in the collector lies inside the divider and does not add."""
    for one in found:
        begin, end = (one.top, one.bottom) if one.device.kind == "npn" else (one.bottom, one.top)
        if begin == net:
            yield Step(one.device, end, one.low, one.high, True, one.reasons)
