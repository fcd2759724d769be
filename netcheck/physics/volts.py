"""DC volts of nets, as far as they are certain without solving the circuit.

Certain are rails and grounds, whatever links, fuses, beads and inductors join to them, and what hangs on them by
resistors that carry no direct current because nothing but capacitors is at their other end. Resistors alone between
two known potentials leave everything between them in between. The rest is Unknown, with bounds where nothing on the
board can leave the range of its rails.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache

from netcheck.circuit.conduction import groups_of
from netcheck.circuit.model import Circuit, Net, Part, Pin
from netcheck.ground.names import natural_key
from netcheck.language.values import Unknown, unite
from netcheck.physics.conductors import spoken_part

_GALVANIC = frozenset({"link", "fuse", "ferrite", "inductor"})  # no volts across them at DC, as far as this module goes
_RESISTIVE = frozenset({"resistor", "potentiometer", "trimmer", "thermistor", "photoresistor"})
_NO_CURRENT = frozenset({"capacitor", "test point", "hole", "mechanical"})  # carry no direct current

# Parts from which a direct current can flow on, from one pin to any other; an amplifier's output is bounded by its
# supply whatever its input does, so that nothing is passed on there.
_PASSES = (
    _GALVANIC
    | _RESISTIVE
    | frozenset(
        {"diode", "led", "zener", "surge diode", "varistor", "npn", "pnp", "nmos", "pmos", "njfet", "pjfet", "jumper"}
        | {"switch", "button", "resistor network", "transistor array", "lamp", "optocoupler", "thyristor", "bridge"}
    )
)
# On a board that has nothing else, no potential at rest leaves the range of its rails: nothing there stores energy in a
# field or pumps charge.
_TAME = (
    (_PASSES - {"inductor"})
    | _NO_CURRENT
    | frozenset({"opamp", "comparator", "buffer", "reference", "regulator", "connector"})
)


@dataclass(frozen=True, slots=True)
class _Range:
    """Lowest, nominal and highest volts of a net, each None where not known."""

    low: float | None
    nominal: float | None
    high: float | None


_NOTHING = _Range(None, None, None)


def net_volts(circuit: Circuit, key: str) -> float | Unknown:
    """DC volts of a net against the zero of the circuit, nominal.

    Returns:
        The volts where they are certain. Else Unknown: "the DC voltage of A is not computed yet", or for a rail "the
        volts of VCC are not known", with such bounds as hold all the same.

    Raises:
        KeyError: if there is no such net.
    """
    net = circuit.nets[key]
    found = _certain(circuit).get(key, _NOTHING)
    if found.nominal is not None:
        return found.nominal
    if net.role == "rail":
        why = f"the volts of {spoken_net(circuit, net)} are not known"
    elif net.role == "ground":
        why = f"how {spoken_net(circuit, net)} stands to the zero is not known"
    else:
        why = f"the DC voltage of {spoken_net(circuit, net)} is not computed yet"
    return Unknown((why,), low=found.low, high=found.high)


def volts_range(circuit: Circuit, key: str) -> tuple[float | None, float | None]:
    """Lowest and highest DC volts of a net; None where there is no bound.

    A rail of 12 V with a tolerance of 5 % has (11.4, 12.6); one of which only the nominal volts are known has these
    twice.
    """
    found = _certain(circuit).get(key, _NOTHING)
    low = found.low if found.low is not None else found.nominal
    return low, found.high if found.high is not None else found.nominal


def volts_across(circuit: Circuit, part: Part) -> float | Unknown:
    """DC volts across a part with two ends, nominal.

    Counted from plus to minus or from anode to cathode where the pins have those roles, else from the first pin to the
    second; 0 where both are on one net.

    Returns:
        Unknown if either end is, or if the part has not two ends; bounds are kept.
    """
    ends = _ends(part)
    if ends is None:
        return Unknown((f"{spoken_part(circuit, part)} has not two ends",))
    first, second = ends
    if first.net == second.net:
        return 0.0
    return _difference(net_volts(circuit, first.net), net_volts(circuit, second.net))


def spoken_net(circuit: Circuit, net: Net) -> str:
    """A net as a person names it: its given name, else up to three of its pins."""
    board = "" if len(circuit.boards) < 2 else f"{net.board}."
    if net.name:
        return f"{board}{net.name}"
    pins = [circuit.pins[key] for key in net.pins[:3]]
    named = (f"{spoken_part(circuit, circuit.part_of(pin))} {pin.role or f'pin {pin.number}'}" for pin in pins)
    return f"the net of {', '.join(named)}"


def _ends(part: Part) -> tuple[Pin, Pin] | None:
    for one, other in (("plus", "minus"), ("anode", "cathode")):
        first, second = part.by_role(one), part.by_role(other)
        if len(first) == len(second) == 1:
            return first[0], second[0]
    if len(part.pins) != 2:
        return None
    a, b = sorted(part.pins, key=lambda pin: natural_key(pin.number))
    return a, b


def _difference(a: float | Unknown, b: float | Unknown) -> float | Unknown:
    """
    >>> _difference(Unknown(("the DC voltage of A is not computed yet",), -15.0, 15.0), 5.0)
    Unknown(reasons=('the DC voltage of A is not computed yet',), low=-20.0, high=10.0)
    """
    if not isinstance(a, Unknown) and not isinstance(b, Unknown):
        return a - b
    low_a, high_a = (a.low, a.high) if isinstance(a, Unknown) else (a, a)
    low_b, high_b = (b.low, b.high) if isinstance(b, Unknown) else (b, b)
    reasons = unite(*(value.reasons for value in (a, b) if isinstance(value, Unknown)))
    low = None if low_a is None or high_b is None else low_a - high_b
    high = None if high_a is None or low_b is None else high_a - low_b
    return Unknown(reasons, low=low, high=high)


# What is certain, once for a circuit


@lru_cache(maxsize=8)
def _certain(circuit: Circuit) -> Mapping[str, _Range]:
    known = _given(circuit)
    _along_conductors(circuit, known)
    _behind_resistors(circuit, known)
    bounds = _rail_bounds(circuit, known)
    if bounds:
        reached = _driven_from_outside(circuit, known)
        for key in circuit.nets:
            if known.get(key, _NOTHING) == _NOTHING and key not in reached and circuit.nets[key].board in bounds:
                low, high = bounds[circuit.nets[key].board]
                known[key] = _Range(low, None, high)
    return known


def _given(circuit: Circuit) -> dict[str, _Range]:
    """Rails and grounds. A ground without volts is the zero if its board has no other domain."""
    domains: dict[str, set[str]] = {}
    for net in circuit.nets.values():
        if net.role == "ground":
            domains.setdefault(net.board, set()).add(net.domain or net.key)
    known = {}
    for net in circuit.nets.values():
        if net.role == "ground" and net.volts is None and len(domains[net.board]) == 1:
            known[net.key] = _Range(0.0, 0.0, 0.0)
        elif net.role in ("rail", "ground") and (net.volts, net.low, net.high) != (None, None, None):
            known[net.key] = _Range(net.low, net.volts, net.high)
        elif net.role == "rail" and net.sign:
            known[net.key] = _Range(*((0.0, None, None) if net.sign == "positive" else (None, None, 0.0)))
    return known


def _joins(circuit: Circuit, part: Part) -> bool:
    """Whether all pins of a part are at one potential at DC; of jumpers, those that are drawn closed."""
    if part.kind not in _GALVANIC | {"jumper"} and not (part.kind == "resistor" and part.value.number == 0):
        return False
    groups = groups_of(part, spoken_part(circuit, part))
    return any(not group.reasons and len(group.pins) == len(part.pins) for group in groups)


def _along_conductors(circuit: Circuit, known: dict[str, _Range]) -> None:
    """Carry volts along links, fuses, beads and inductors; a net that gets two different ones stays unknown."""
    firm = {key for key, volts in known.items() if volts.nominal is not None}
    told: dict[str, list[_Range]] = {}
    for key in sorted(firm, key=natural_key):
        seen, todo = {key}, [key]
        while todo:
            for net in _joined_to(circuit, todo.pop()):
                if net not in seen and net not in firm and circuit.nets[net].role != "mains":
                    seen.add(net)
                    todo.append(net)
                    told.setdefault(net, []).append(known[key])
    for net, ranges in told.items():
        if len({volts.nominal for volts in ranges}) == 1:
            known[net] = ranges[0]


def _joined_to(circuit: Circuit, key: str) -> Iterator[str]:
    for pin in circuit.pins_on(circuit.nets[key]):
        part = circuit.part_of(pin)
        if _joins(circuit, part):
            yield from (mate.net for mate in part.pins)


def _behind_resistors(circuit: Circuit, known: dict[str, _Range]) -> None:
    """Nets that only resistors and capacitors are on, in groups joined by resistors.

    No current flows in a group that meets one potential only; one that meets several stays between them, since in a
    network of resistances no node is outside what its edge has.
    """
    done: set[str] = set()
    found: dict[str, _Range] = {}
    for start in sorted(set(circuit.nets) - set(known), key=natural_key):
        if start in done or not _quiet(circuit, start):
            continue
        group, edge = _resistive_group(circuit, start, known)
        done |= group
        if edge is None or not edge:
            continue
        volts = [known[key] for key in sorted(edge, key=natural_key)]
        nominal = {each.nominal for each in volts}
        if None not in nominal and len(nominal) == 1:
            merged = _Range(_least(each.low for each in volts), volts[0].nominal, _most(each.high for each in volts))
        else:
            merged = _Range(_least(_low(each) for each in volts), None, _most(_high(each) for each in volts))
        found.update(dict.fromkeys(group, merged))
    known.update(found)


def _quiet(circuit: Circuit, key: str) -> bool:
    """Whether a net has pins, and only of resistors, of what joins them and of capacitors."""
    pins = circuit.pins_on(circuit.nets[key])
    kinds = _RESISTIVE | _GALVANIC | _NO_CURRENT
    quiet = circuit.nets[key].role == "signal" and all(circuit.part_of(pin).kind in kinds for pin in pins)
    return quiet and bool(pins) and not _meant_for_outside(circuit, key)


def _meant_for_outside(circuit: Circuit, key: str) -> bool:
    """Whether a net has a name and one pin: somebody means to join something there that is not drawn."""
    net = circuit.nets[key]
    return bool(net.name) and len(circuit.pins_on(net)) == 1


def _resistive_group(circuit: Circuit, start: str, known: Mapping[str, _Range]) -> tuple[set[str], set[str] | None]:
    """Nets joined by resistors to one, and the known ones they end at; None for these if one end is not known."""
    group, edge, todo = {start}, set[str](), [start]
    open_end = False
    while todo:
        for pin in circuit.pins_on(circuit.nets[todo.pop()]):
            part = circuit.part_of(pin)
            if part.kind in _NO_CURRENT:
                continue
            inside = [each for each in groups_of(part, part.ref) if pin in each.pins]
            open_end = open_end or any(each.reasons for each in inside)
            for net in {mate.net for each in inside for mate in each.pins} - group:
                if net in known:
                    edge.add(net)
                elif _quiet(circuit, net):
                    group.add(net)
                    todo.append(net)
                else:
                    open_end = True
    return group, None if open_end else edge


def _low(volts: _Range) -> float | None:
    return volts.low if volts.low is not None else volts.nominal


def _high(volts: _Range) -> float | None:
    return volts.high if volts.high is not None else volts.nominal


def _least(values: Iterable[float | None]) -> float | None:
    found = list(values)
    return None if None in found else min(value for value in found if value is not None)


def _most(values: Iterable[float | None]) -> float | None:
    found = list(values)
    return None if None in found else max(value for value in found if value is not None)


def _rail_bounds(circuit: Circuit, known: Mapping[str, _Range]) -> dict[str, tuple[float, float]]:
    """Lowest and highest rail of each board on which nothing can go beyond them, all rails being known."""
    found = {}
    for board in circuit.boards:
        nets = [circuit.nets[net.key] for net in board.nets]
        powers = [net for net in nets if net.role in ("rail", "ground", "chassis", "earth", "mains")]
        if any(part.fitted and part.kind not in _TAME for part in board.parts):
            continue
        volts = [known.get(net.key) for net in powers]
        if not volts or any(each is None or each.nominal is None for each in volts):
            continue
        lows = [_low(each) or 0.0 for each in volts if each is not None]
        highs = [_high(each) or 0.0 for each in volts if each is not None]
        found[board.name] = (min(0.0, *lows), max(0.0, *highs))
    return found


def _driven_from_outside(circuit: Circuit, known: Mapping[str, _Range]) -> set[str]:
    """Nets to which a source beyond a connector can bring direct current: what it brings is not known."""
    firm = {key for key, volts in known.items() if volts.nominal is not None}
    connectors = [part for part in circuit.parts.values() if part.kind == "connector" and part.fitted]
    seen = {pin.net for part in connectors for pin in part.pins}
    seen = (seen | {key for key in circuit.nets if _meant_for_outside(circuit, key)}) - firm
    todo = list(seen)
    while todo:
        for pin in circuit.pins_on(circuit.nets[todo.pop()]):
            part = circuit.part_of(pin)
            if part.kind in _PASSES:
                fresh = {mate.net for mate in part.pins} - firm - seen
                seen |= fresh
                todo.extend(fresh)
    return seen
