"""The account of a board: what everything was taken for, on what evidence, and what was not understood."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from netcheck.circuit.conduction import AMPLIFIERS
from netcheck.circuit.model import Amplifier, Board, Circuit, Net, Part
from netcheck.circuit.understanding import Row, Understanding
from netcheck.ground.names import natural_key, plain, spoken_list
from netcheck.ground.units import VOLT, show

_PLURAL = {
    "capacitor": "capacitors", "inductor": "inductors", "switch": "switches", "battery": "batteries",
    "ferrite": "ferrite beads", "npn": "NPN transistors", "pnp": "PNP transistors", "nmos": "N-channel MOSFETs",
    "pmos": "P-channel MOSFETs", "njfet": "N-channel JFETs", "pjfet": "P-channel JFETs", "led": "LEDs",
    "opamp": "op-amps", "unknown": "parts of unknown kind", "logic": "logic circuits", "mechanical": "mechanical parts",
}  # fmt: skip
_SINGULAR = {
    "ferrite": "ferrite bead", "npn": "NPN transistor", "pnp": "PNP transistor", "nmos": "N-channel MOSFET",
    "pmos": "P-channel MOSFET", "njfet": "N-channel JFET", "pjfet": "P-channel JFET", "led": "LED", "opamp": "op-amp",
    "unknown": "part of unknown kind", "logic": "logic circuit", "mechanical": "mechanical part",
}  # fmt: skip
_HOUSING = {True: "keyed", False: "not keyed", None: "keyed or not is not known"}


def account(board: Board, circuit: Circuit, matches: Mapping[str, Sequence[Any]] | None = None) -> Understanding:
    """How a board was understood.

    Args:
        circuit: with this board in it.
        matches: found shapes by name, each with `key` and `names`; shown as stages.
    """
    return Understanding(
        board=board.name,
        kinds=_kinds(board),
        rails=tuple(_rail(net) for net in board.nets if net.role == "rail"),
        grounds=_grounds(board),
        amplifiers=tuple(_amplifier(each, circuit) for each in board.amplifiers),
        stages=_stages(board, matches or {}),
        connectors=tuple(_connector(part, circuit) for part in board.parts if part.kind in ("connector", "inlet")),
        not_understood=(*_parts_not_understood(board), *_nets_not_understood(board)),
        remarks=board.remarks,
    )


def kind_name(kind: str, count: int = 1) -> str:
    """A kind as a person says it.

    >>> kind_name("npn", 2), kind_name("resistor", 12), kind_name("opamp")
    ('NPN transistors', 'resistors', 'op-amp')
    """
    return _SINGULAR.get(kind, kind) if count == 1 else _PLURAL.get(kind, kind + "s")


def _kinds(board: Board) -> tuple[Row, ...]:
    found: dict[str, list[Part]] = {}
    for part in board.parts:
        found.setdefault(part.kind, []).append(part)
    rows = []
    for kind, parts in sorted(found.items(), key=lambda item: (-len(item[1]), item[0])):
        left_out = sum(not part.fitted for part in parts)
        what = f"{len(parts)} {kind_name(kind, len(parts))}" + (f", {left_out} of them not fitted" if left_out else "")
        rows.append(Row(tuple(part.key for part in parts), what, _evidence(parts)))
    return tuple(rows)


def _evidence(parts: Sequence[Part]) -> str:
    """The sorts of evidence, the commonest first; one part alone has its whole clause."""
    if len(parts) == 1:
        return parts[0].because
    said = Counter(_sort(part.because) for part in parts)
    return spoken_list((f"{sort} ({count})" if len(said) > 1 else sort for sort, count in said.most_common()), most=4)


def _sort(because: str) -> str:
    sorts = {
        "its type": "type number", "its library part": "library part", "its library": "library", "its pins": "pins",
        "its description": "description", "its footprint": "footprint", "its reference": "reference letters",
        "its field": "field 'Kind'", "it is given": "given from outside",
    }  # fmt: skip
    return next((word for start, word in sorts.items() if because.startswith(start)), because)


def _rail(net: Net) -> Row:
    return Row((net.key,), volts_text(net), net.origin)


def volts_text(net: Net) -> str:
    """Volts of a rail or ground as a person writes them: "+15 V", "+11.4 V to +12.6 V", "positive, volts not known".

    >>> volts_text(Net("a/net/VP", "a", "VP", "1", (), volts=15.0))
    '+15 V'
    """
    if net.volts is not None:
        return _signed(net.volts)
    if net.low is not None and net.high is not None:
        return f"{_signed(net.low)} to {_signed(net.high)}"
    return f"{net.sign}, volts not known" if net.sign else "volts not known"


def _signed(volts: float) -> str:
    return ("+" if volts > 0 else "") + show(volts, VOLT)


def _grounds(board: Board) -> tuple[Row, ...]:
    """A row for each domain, then chassis, earth and mains nets."""
    domains: dict[str, list[Net]] = {}
    for net in board.nets:
        if net.role == "ground":
            domains.setdefault(net.domain or net.key, []).append(net)
    rows = [
        Row(tuple(net.key for net in nets), _tied(len(nets)), nets[0].origin)
        for _, nets in sorted(domains.items(), key=lambda item: natural_key(item[0]))
    ]
    rows += [Row((net.key,), net.role, net.origin) for net in board.nets if net.role in ("chassis", "earth", "mains")]
    return tuple(rows)


def _tied(nets: int) -> str:
    return f"ground, {nets} nets tied together" if nets > 1 else "ground"


def _amplifier(each: Amplifier, circuit: Circuit) -> Row:
    part = circuit.parts[each.part]
    name = plain(part.value.text, 30) or kind_name(each.kind)
    what = f"{kind_name(each.kind)} {name}"
    if each.output is None and each.unit in part.missing_units:
        return Row((each.key,), f"{what}, unit {each.unit} is nowhere in the schematic", part.because)
    if each.missing:
        what += f", without {spoken_list(f'{role} pin' for role in each.missing)}"
    supply = [_supply(key, circuit) for key in (each.supply_plus, each.supply_minus)]
    return Row((each.key,), f"{what}, supplied from {supply[0]} and {supply[1]}", part.because)


def _supply(pin: str | None, circuit: Circuit) -> str:
    if pin is None:
        return "nothing"
    net = circuit.net_of(circuit.pins[pin])
    return plain(net.name, 30) or "a net without a name"


def _stages(board: Board, matches: Mapping[str, Sequence[Any]]) -> tuple[Row, ...]:
    """Matches of shapes on this board; a match lists the keys of what it is made of."""
    rows = []
    for shape, found in sorted(matches.items()):
        for match in found:
            names = getattr(match, "names", {})
            keys = tuple(key for key in (getattr(thing, "key", "") for thing in names.values()) if _is_on(key, board))
            if keys:
                rows.append(Row(keys, shape.replace("-", " "), "; ".join(getattr(match, "unsure", ()))))
    return tuple(rows)


def _is_on(key: str, board: Board) -> bool:
    return key.startswith(board.name + "/") and "/net" not in key


def _connector(part: Part, circuit: Circuit) -> Row:
    facts = [part.family or kind_name(part.kind)]
    if part.positions:
        rows = f"{part.rows} rows, " if part.rows > 1 else ""
        facts.append(f"{rows}{part.positions} position{'s' if part.positions > 1 else ''}")
    if part.family in ("header", "wire to board", "shrouded header", ""):
        facts.append(_HOUSING[part.keyed])
    carried = dict.fromkeys(_carried(pin.key, circuit) for pin in part.pins if pin.listed)
    carried.pop("", None)
    label = f" '{plain(part.value.text, 30)}'" if part.value.text.strip("~ ") else ""
    return Row((part.key,), f"{', '.join(facts)}{label}; carries {spoken_list(carried, most=8)}", part.because)


def _carried(pin: str, circuit: Circuit) -> str:
    net = circuit.net_of(circuit.pins[pin])
    return plain(net.name, 30) if net.name else ("" if len(net.pins) < 2 else "nets without a name")


def _parts_not_understood(board: Board) -> Iterable[Row]:
    amplified = {each.part for each in board.amplifiers}
    for part in board.parts:
        if part.kind == "unknown":
            yield Row((part.key,), f"what {part.ref} is", part.because)
            continue
        bare = [pin.number for pin in part.pins if not pin.role]
        if bare and part.fitted:
            pins, are = ("pins", "are") if len(bare) > 1 else ("pin", "is")
            what = f"what {pins} {spoken_list(bare)} of {part.ref} {are} for"
            yield Row((part.key,), what, f"a {kind_name(part.kind)}; its symbol does not name them")
        if part.kind in AMPLIFIERS and part.key not in amplified:
            yield Row((part.key,), f"which inputs and outputs of {part.ref} belong together", part.because)
        if part.value.doubt and part.fitted:
            yield Row((part.key,), f"the value of {part.ref}", part.value.doubt)
        if part.conflict:
            yield Row((part.key,), f"{part.ref} is drawn as another thing than it is", part.conflict)


def _nets_not_understood(board: Board) -> Iterable[Row]:
    for net in board.nets:
        if net.role == "rail" and net.volts is None and net.low is None:
            yield Row((net.key,), f"the volts of {plain(net.name, 40) or 'a rail without a name'}", net.origin)
