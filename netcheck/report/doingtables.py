"""Tables of what the circuit will do: at rest and driven, supplies, loads and controls, channels, least ratings."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from netcheck.circuit.model import Circuit, Net
from netcheck.ground.names import plain
from netcheck.ground.units import AMPERE, CELSIUS, HERTZ, OHM, VOLT, WATT, Unit, show
from netcheck.physics.behaviour import (
    ChannelRow,
    DeviceHeat,
    PathBehaviour,
    RatingRow,
    RestRow,
    SupplyRow,
    Variant,
)
from netcheck.report.display import Names
from netcheck.report.wording import clip

MOST_ROWS, MOST_VOLTS, MOST_NAMED = 16, 60, 24
QUIET_GAIN = -60.0  # dB; below this a corner says nothing
_QUIET = 1e-9  # what is less is rounding of the solver


@dataclass(frozen=True, slots=True)
class Table:
    """A table: heads of its columns, then rows that begin with their own head."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def _still(value: float, least: float = _QUIET / 1e3) -> float:
    return 0.0 if abs(value) < least else value


# Loads and controls


def varied_table(path: PathBehaviour, names: Names) -> Table | None:
    """Gain and bandwidth with each load, and with each control at its ends and in the middle."""
    loads = tuple(dict.fromkeys(one.ohms for one in path.variants))
    rows = tuple(_varied_rows(path, loads, names))
    heads = ("", *("without load" if math.isinf(ohms) else f"into {show(ohms, OHM)}" for ohms in loads))
    return Table(heads, rows) if rows and len(loads) > 1 else None


def _varied_rows(path: PathBehaviour, loads: Sequence[float], names: Names) -> Iterator[tuple[str, ...]]:
    stands = dict.fromkeys((one.control, one.position) for one in path.variants)
    for control, position in stands:
        found = {one.ohms: one for one in path.variants if (one.control, one.position) == (control, position)}
        where = {0.0: "at its first end", 0.5: "at the middle of its track", 1.0: "at its last end"}.get(
            position, f"{position:.0%}"
        )
        head = f"{names.name(control)} {where}" if control else "As it stands"
        yield (head, *(_variant(found[ohms]) if ohms in found else "not computed" for ohms in loads))


def _variant(one: Variant) -> str:
    if one.gain < QUIET_GAIN:
        return f"{one.gain:.0f} dB"
    ends = (
        f"from {show(one.low, HERTZ)}" if one.low is not None else "",
        f"to {show(one.high, HERTZ)}" if one.high is not None else "",
    )
    span = " ".join(end for end in ends if end)
    return f"{one.gain:.1f} dB{', -3 dB ' + span if span else ''}"


# Supplies


def supplies_table(rows: Sequence[SupplyRow], names: Names) -> Table | None:
    """Rails that rectifiers and regulators make."""
    if not rows:
        return None
    told = tuple(
        (
            names.name(row.key),
            plain(row.origin, 120),
            _ends(row.volts, VOLT),
            _ends(row.amps, AMPERE, row.reason),
            _one(row.ripple, VOLT),
            _one(row.headroom, VOLT),
            ", ".join(
                _one(value, unit) for value, unit in ((row.watts, WATT), (row.junction, CELSIUS)) if value is not None
            ),
        )
        for row in rows[:MOST_ROWS]
    )
    heads = ("Rail", "Is", "Volts at rest (low to high)", "Amps, rest to signal", "Ripple, peak to peak")
    return Table((*heads, "Headroom at worst, output nominal", "Heat at worst"), told)


def _ends(ends: tuple[float, float, float] | None, unit: Unit, reason: str = "") -> str:
    if ends is None:
        return f"not known: {plain(reason, 120)}" if reason else "not known"
    low, middle, high = (show(_still(value, _QUIET), unit) for value in ends)
    return middle if low == high else f"{middle} ({low} to {high})"


def _one(value: float | None, unit: Unit) -> str:
    return "" if value is None else show(_still(value, _QUIET), unit)


# Channels


def channels_table(rows: Sequence[ChannelRow], names: Names) -> Table | None:
    """What stands twice, left and right beside each other."""
    if not rows:
        return None
    told = []
    for row in rows:
        differ = ", ".join(
            f"{names.name(a)} {names.what(a)} and {names.name(b)} {names.what(b)}" for a, b in row.differ
        )
        told.append(
            (
                names.listed(row.left, MOST_NAMED),
                names.listed(row.right, MOST_NAMED),
                plain(row.told_by, 120),
                differ or "alike",
                names.listed(row.left_over, MOST_NAMED) or "nothing",
            )
        )
    return Table(("Left", "Right", "Told by", "Values", "In one only"), tuple(told))


# Least ratings


def ratings_table(rows: Sequence[RatingRow], names: Names) -> Table | None:
    """What to buy for parts whose rating nobody wrote down."""
    if not rows:
        return None
    told = tuple(
        (names.listed(row.parts, MOST_NAMED), plain(f"{row.kind} {row.value}", 80), rating_text(row)) for row in rows
    )
    return Table(("Part", "Is", "Buy at least"), told)


def rating_text(row: RatingRow) -> str:
    """A rating in words: "25 V", "0.25 W"."""
    parts = ((row.volts, VOLT), (row.amps, AMPERE), (row.watts, WATT))
    return ", ".join(show(value, unit) for value, unit in parts if value is not None)


# At rest and driven


def ranged(row: RestRow, unit: Unit) -> str:
    if row.nominal is None:
        return f"not known: {plain(row.reason, 160)}"
    nominal = show(_still(row.nominal, _QUIET), unit)
    if row.low is None or row.high is None:
        return nominal
    low, high = (show(_still(value, _QUIET), unit) for value in (row.low, row.high))
    return nominal if low == high else f"{nominal} ({low} to {high})"


def heat_table(rows: Sequence[RestRow], names: Names) -> Table | None:
    """Parts at rest, the hottest first; of a resistor also its current."""
    if not rows:
        return None
    told = tuple(
        (names.name(row.key), names.what(row.key), ranged(row, WATT), _current(row, names.circuit))
        for row in rows[:MOST_ROWS]
    )
    return Table(("Part", "Is", "Heat at rest", "Current at rest"), told)


def _current(row: RestRow, circuit: Circuit) -> str:
    """Direct current of a resistor from its heat, by Joule: the root of P / R."""
    part = circuit.parts.get(row.key)
    ohms = part.value.number if part is not None and part.kind == "resistor" else None
    if not ohms or row.nominal is None:
        return ""
    low, high = (row.nominal if end is None else end for end in (row.low, row.high))
    nominal, least, most = (math.sqrt(max(watts, 0.0) / ohms) for watts in (row.nominal, low, high))
    return ranged(RestRow(row.key, "A", nominal, least, most), AMPERE)


def driven_table(devices: Sequence[DeviceHeat], names: Names) -> Table | None:
    """Parts that are driven, with what they stand and how warm they become."""
    if not devices:
        return None
    rows = []
    for heat in devices[:MOST_ROWS]:
        load = "without load" if math.isinf(heat.load) else f"into {show(heat.load, OHM)}"
        most = f"{show(heat.most, WATT)} {load}, at {show(heat.at_volts, VOLT)} peak"
        short = show(heat.shorted, WATT) if heat.shorted is not None else "not computed"
        stands = ", ".join(
            show(value, unit) for value, unit in ((heat.volts, VOLT), (heat.amps, AMPERE)) if value is not None
        )
        rows.append(
            (
                names.name(heat.part),
                ranged(RestRow(heat.part, "W", *heat.rest), WATT),
                most,
                short,
                _rated(heat),
                warmth(heat),
                stands or "not known",
            )
        )
    heads = (
        "Part",
        "At rest",
        "Most over a sine",
        "Output shorted",
        "Rated in free air, 25 °C",
        "Inside, at rest to most",
    )
    return Table((*heads, "Peak volts, amps"), tuple(rows))


def _rated(heat: DeviceHeat) -> str:
    if heat.rating is not None:
        return show(heat.rating, WATT)
    return "on a heatsink: see inside" if heat.mounted else "not known"


def warmth(heat: DeviceHeat) -> str:
    """Temperatures inside a part, or why they are not known."""
    told = [show(value, CELSIUS) for value in heat.celsius if value is not None]
    if not told:
        return f"not known: {plain(heat.cooling, 120)}" if heat.cooling else "not known"
    return " to ".join(dict.fromkeys(told))


def rails_table(rows: Sequence[RestRow], names: Names) -> Table | None:
    if not rows:
        return None
    nets = names.circuit.nets
    told = tuple(
        (names.name(row.key), _nominal(nets[row.key]) if row.key in nets else "", ranged(row, AMPERE))
        for row in rows[:MOST_ROWS]
    )
    return Table(("Rail", "Volts", "Taken by this board at rest"), told)


def _nominal(net: Net) -> str:
    return "not known" if net.volts is None else show(net.volts, VOLT)


def volts_table(rows: Sequence[RestRow], names: Names) -> Table | None:
    if not rows:
        return None
    return Table(
        ("Net", "Volts at rest"),
        tuple((clip(names.name(row.key), 80), ranged(row, VOLT)) for row in rows[:MOST_VOLTS]),
    )
