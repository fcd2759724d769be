"""Direct current that the parts of a board take from each rail at rest.

What the outputs of amplifiers deliver is not in it, nor what capacitors leak. Of an amplifier it is what its book says
that it draws by itself.
"""

from __future__ import annotations

import networkx as nx

from netcheck.circuit.conduction import SERIES
from netcheck.circuit.model import Part, Pin
from netcheck.ground.names import natural_key
from netcheck.language.values import Unknown
from netcheck.physics.behaviour import RestRow
from netcheck.physics.devices import figure
from netcheck.physics.points import Points, Range

_PACKAGES = frozenset({"opamp", "buffer", "comparator", "power amplifier"})
_NOTHING = frozenset({"capacitor", "connector", "test point", "hole", "mechanical"})  # at rest, of the rail's own
_OPAQUE = "what {} takes is not known"


def rail_currents(points: Points, board: str) -> tuple[RestRow, ...]:
    """A row for each rail of a board; positive whichever sign the rail has.

    Rails behind a bead, a fuse or a resistor are counted with the one that feeds them. Where the current of one part is
    not known, that of the rail is not, and the part is named.
    """
    nets = [net for net in points.walks.circuit.nets.values() if net.board == board and net.role == "rail"]
    graph = nx.Graph()
    graph.add_nodes_from(net.key for net in nets)
    for net in nets:
        for pin in points.walks.circuit.pins_on(net):
            part = points.walks.circuit.part_of(pin)
            if part.kind in SERIES and len(part.pins) == 2 and all(one.net in graph for one in part.pins):
                graph.add_edge(part.pins[0].net, part.pins[1].net)
    rows = (_row(points, frozenset(group)) for group in nx.connected_components(graph))
    return tuple(sorted(rows, key=lambda row: natural_key(row.key)))


def _row(points: Points, group: frozenset[str]) -> RestRow:
    circuit = points.walks.circuit
    pins = [pin for key in group for pin in circuit.pins_on(circuit.nets[key])]
    nominal, low, high = 0.0, 0.0, 0.0
    missing: list[str] = []
    for key in sorted({pin.part for pin in pins}, key=natural_key):
        part = circuit.parts[key]
        for found in taken(points, part, [pin for pin in part.pins if pin.net in group]):
            if isinstance(found, Unknown):
                missing.append(found.reasons[0])
            else:
                nominal, low, high = nominal + found.nominal, low + found.low, high + found.high
    key = _feed(points, group)
    if missing:
        more = f" and {len(missing) - 1} more" if len(missing) > 1 else ""
        return RestRow(key, "A", None, reason=f"{missing[0]}{more}")
    if nominal < 0:
        nominal, low, high = -nominal, -high, -low
    return RestRow(key, "A", nominal, low, high)


def _feed(points: Points, group: frozenset[str]) -> str:
    """The rail by which a group is fed: a regulator's output, else one with a connector and not behind a bead."""
    circuit = points.walks.circuit

    def rank(key: str) -> tuple[bool, bool, bool, int]:
        pins = circuit.pins_on(circuit.nets[key])
        made = any(_is_source(circuit.part_of(pin), pin) for pin in pins)
        fed = not circuit.nets[key].origin.startswith("behind ")  # not on the far side of a bead or a fuse
        return made, any(circuit.part_of(pin).kind == "connector" for pin in pins), fed, len(pins)

    return max(sorted(group, key=natural_key), key=rank)


def _is_source(part: Part, pin: Pin) -> bool:
    return part.kind == "regulator" and pin.role == "output"


def taken(points: Points, part: Part, pins: list[Pin]) -> list[Range | Unknown]:
    """Current out of the rail into a part, pin by pin."""
    pins = [pin for pin in pins if not _is_source(part, pin)]
    if part.kind in _NOTHING or not pins or (part.kind in SERIES and len(pins) == len(part.pins) == 2):
        return []
    if part.kind in _PACKAGES:
        found = _drawn(points, part)
        roles = {pin.role for pin in pins}
        if roles == {"control"}:
            return []
        if roles <= {"supply plus", "control"} or isinstance(found, Unknown):
            return [found]
        if roles <= {"supply minus", "control"}:
            return [Range(-found.nominal, -found.high, -found.low)]
        return [Unknown((_OPAQUE.format(points.said(part)),))]
    return [_through(points, part, pin) for pin in pins]


def _through(points: Points, part: Part, pin: Pin) -> Range | Unknown:
    """Current into a part; through a resistor to a pin that only controls, it is known to within the supplies.

    Nominal as if that pin lay at 0 V: such a current is small beside those that count.
    """
    found, circuit = points.amps(pin), points.walks.circuit
    ohms = part.value.number
    if not isinstance(found, Unknown) or part.kind != "resistor" or not ohms or len(part.pins) != 2:
        return found
    far = next(other for other in part.pins if other is not pin)
    others = [one for one in circuit.pins_on(circuit.nets[far.net]) if one.part != part.key]
    held = points.plan.known
    at, supplies = points.node(pin.net), {points.node(net.key) for net in circuit.nets.values() if net.role == "rail"}
    spans = [held[node] for node in supplies if node in held]
    idle = all(one.role == "control" or circuit.part_of(one).kind == "capacitor" for one in others)
    if at not in held or not idle or not any(one.role == "control" for one in others):
        return found
    low, volts, high = held[at]
    lowest, highest = min(0.0, *(span[0] for span in spans)), max(0.0, *(span[2] for span in spans))
    return Range(volts / ohms, min((low - highest) / ohms, 0.0), max((high - lowest) / ohms, 0.0))


def _drawn(points: Points, part: Part) -> Range | Unknown:
    """What all amplifiers of a package draw by themselves, as the part book tells."""
    count = sum(amplifier.part == part.key for amplifier in points.walks.circuit.amplifiers.values())
    count = count or int(figure(part.record, "amplifiers") or 1)
    ends = [figure(part.record, "supply_current", way) for way in (0, -1, 1)]
    nominal, low, high = (None if end is None else end * count for end in ends)
    if nominal is None or low is None or high is None:
        return Unknown((_OPAQUE.format(points.said(part)),))
    whole = figure(part.record, "supply_current_total_most", 1)
    return Range(nominal, low, max(high, whole) if whole is not None else high)
