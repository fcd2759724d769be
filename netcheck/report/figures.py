"""The numbers of a board as text, for a terminal: what `netcheck read --numbers` prints."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

from netcheck.circuit.model import Circuit
from netcheck.ground.names import plain
from netcheck.ground.units import AMPERE, HERTZ, OHM, VOLT, WATT, show
from netcheck.physics.behaviour import Behaviour, Corner, DeviceHeat, LoadLevel, PathBehaviour, RatingRow, RestRow
from netcheck.report.display import Names, compact
from netcheck.report.doingtables import Table, channels_table, ratings_table, supplies_table, varied_table, warmth
from netcheck.report.plots import strays_by
from netcheck.report.wording import clip

MOST_ROWS = 40
_UNITS = {"V": VOLT, "A": AMPERE, "W": WATT}
CAUTION = (
    "Computed from values and data-sheet figures with usual spread, signals as of typical parts.\n"
    "Measure on the bench, at low level and without phones first."
)


def apart(found: Sequence[Behaviour], name: str) -> tuple[Behaviour | None, tuple[Behaviour, ...]]:
    """What signals do in a box as a whole, under its name, and what is left of each board; none without paths."""
    if len(found) < 2 or not any(one.paths for one in found):
        return None, tuple(found)
    devices = [heat for one in found for heat in one.devices]
    whole = Behaviour(
        board=name,
        paths=tuple(path for one in found for path in one.paths),
        more_paths=sum(one.more_paths for one in found),
        devices=tuple(sorted(devices, key=lambda heat: -float(f"{heat.most:.3g}"))),
    )
    return whole, tuple(replace(one, paths=(), more_paths=0, devices=()) for one in found)


def path_name(path: PathBehaviour, names: Names) -> str:
    """A path by the sockets at its ends and their nets, with the switch before which it stops."""
    before = f" (up to {names.name(path.ends_at)}, whose position is not given)" if path.ends_at else ""
    return f"{_end(path.input_pin, path.input, names)} to {_end(path.output_pin, path.output, names)}{before}"


def _end(pin: str, net: str, names: Names) -> str:
    """An end of a path: its socket, and the net's own name; the net alone where no socket is known."""
    if pin not in names.circuit.pins:
        return clip(names.name(net), 40)
    own = names.circuit.nets[net].name if net in names.circuit.nets else ""
    return clip(names.name(pin), 40) + (f" ({clip(plain(own), 30)})" if own else "")


def other_rails(behaviour: Behaviour) -> list[RestRow]:
    """Rails whose amps are not told among the supplies."""
    told = {row.key for row in behaviour.supplies if row.amps is not None}
    return [row for row in behaviour.rails if row.key not in told or row.nominal is not None]


def behaviour_text(behaviour: Behaviour, circuit: Circuit, elsewhere: bool = False) -> str:
    """All numbers of a board, section by section; what is not known is told with its reason.

    Args:
        elsewhere: whether signal paths are told under another name; then a board without numbers is ''.
    """
    names = Names(circuit, behaviour.board)
    sections = [
        ("Signal paths", [line for path in behaviour.paths for line in _path(path, names)]),
        ("Loads and controls", [line for path in behaviour.paths for line in _varied(path, names)]),
        (
            "Supplies",
            [f"{row[0]}: {', '.join(_told(row))}" for row in _rows(supplies_table(behaviour.supplies, names))],
        ),
        ("Volts at rest", [_rest(row, names) for row in behaviour.volts[:MOST_ROWS]]),
        (
            "Current that this board takes from its rails at rest",
            [_rest(row, names) for row in other_rails(behaviour)[:MOST_ROWS]],
        ),
        ("Heat at rest, the hottest first", [_rest(row, names) for row in behaviour.heat[:MOST_ROWS]]),
        ("Heat over drive, the hottest first", [_device(row, names) for row in behaviour.devices[:MOST_ROWS]]),
        ("Channels", [_channel(row) for row in _rows(channels_table(behaviour.channels, names))]),
        ("Not computed", [f"{count} nets: {plain(why)}" for why, count in behaviour.not_computed[:MOST_ROWS]]),
    ]
    if behaviour.more_paths:
        sections[0][1].append(f"{behaviour.more_paths} further paths are not computed")
    if not behaviour.paths and not elsewhere:
        sections[0][1].append("no input from which something passes through an amplifier to an output is seen")
    if elsewhere and not any(rows for _, rows in sections):
        return ""
    lines = [f"{behaviour.board}: what it will do", CAUTION]
    for title, rows in sections:
        if rows:
            lines += ["", title, *(f"  {row}" for row in rows)]
    return "\n".join(lines)


def ratings_text(rows: Sequence[RatingRow], circuit: Circuit) -> str:
    """Least ratings to buy, for all boards together; '' where every part states its own."""
    table = ratings_table(rows, Names(circuit))
    if table is None:
        return ""
    lines = [f"  {parts} ({what}): {least}" for parts, what, least in table.rows]
    return "\n".join(["", "Ratings to buy, of parts that state none", *lines])


def _rows(table: Table | None) -> tuple[tuple[str, ...], ...]:
    return table.rows if table is not None else ()


def _told(row: tuple[str, ...]) -> Iterator[str]:
    """A row of supplies in words; what is empty is left out."""
    yield row[1]
    for what, said in zip(("volts", "amps", "ripple", "headroom", "heat"), row[2:], strict=True):
        if said:
            yield f"{what} {said}"


def _channel(row: tuple[str, ...]) -> str:
    return f"{row[0]} and {row[1]}, by {row[2]}: {row[3]}; in one only: {row[4]}"


def _varied(path: PathBehaviour, names: Names) -> Iterator[str]:
    table = varied_table(path, names)
    if table is None:
        return
    yield path_name(path, names)
    for row in table.rows:
        cells = "; ".join(f"{head} {cell}" for head, cell in zip(table.heads[1:], row[1:], strict=True))
        yield f"  {row[0]}: {cells}"


def _path(path: PathBehaviour, names: Names) -> Iterator[str]:
    yield path_name(path, names)
    if path.reasons:
        yield f"  not computed: {plain('; '.join(path.reasons))}"
        return
    low, high = path.band
    band = f"from {show(low, HERTZ)} to {show(high, HERTZ)}"
    yield f"  gain {gain_text(path)} at 1 kHz, within {strays_by(path, low, high):.2f} dB {band}"
    for corner in path.corners:
        yield f"  {corner_text(corner, names)}"
    ohms = path.output_ohms_at(1000.0)
    yield f"  input {show(path.input_ohms, OHM)}, output {show(ohms or 0.0, OHM)} at 1 kHz"
    noise = f"  noise {show(path.noise, VOLT)} from 20 Hz to 20 kHz, {show(path.noise_weighted, VOLT)} A-weighted"
    loud = ", ".join(f"{end_name(part, names)} {share:.0%}" for part, share in path.loudest[:3])
    yield noise + (f"; mostly {loud}" if loud else "")
    for level in path.loads:
        yield f"  {_level(level)}"
    for control in path.controls:
        first, middle, last = control.gains
        told = f"{first:.1f} dB, {middle:.1f} dB, {last:.1f} dB at one end, the middle of its track, the other end"
        yield f"  {names.name(control.part)}: {told}"


def end_name(key: str, names: Names) -> str:
    """A part, or what stands at the ends of a path: its source, its lead."""
    return f"the {key}" if key in ("source", "lead", "load") and key not in names.circuit.parts else names.name(key)


def gain_text(path: PathBehaviour) -> str:
    """Gain at 1 kHz, with its ends over tolerances."""
    off = f" ± {path.gain_off:.1f} dB" if path.gain_off >= 0.05 else ""
    return f"{path.gain:.1f} dB{off}"


def corner_text(corner: Corner, names: Names) -> str:
    """A corner as a clause: "-3 dB at 7.2 Hz (6 Hz to 8.6 Hz), set by C12 and R7"."""
    if corner.hertz is None:
        side = "below" if corner.side == "low" else "above"
        return f"-{corner.drop:g} dB {side} {show(corner.beyond, HERTZ)}"
    ends = ""
    if corner.low is not None and corner.high is not None and corner.high > 1.01 * corner.low:
        ends = f" ({show(corner.low, HERTZ)} to {show(corner.high, HERTZ)})"
    made = f", set by {compact(end_name(part, names) for part in corner.parts)}" if corner.parts else ""
    return f"-{corner.drop:g} dB at {show(corner.hertz, HERTZ)}{ends}{made}"


def level_text(level: LoadLevel) -> str:
    """The largest signal into a load: volts, and what they are there."""
    least = "" if level.ends else "at least "  # the end of a search is no maximum
    if math.isinf(level.ohms):
        return f"{least}{show(level.volts, VOLT)} rms"
    loud = f", up to {level.loudness:.0f} dB SPL" if level.loudness is not None else ""
    return f"{least}{show(level.volts, VOLT)} rms, {show(level.amps, AMPERE)} peak, {show(level.watts, WATT)}{loud}"


def told_text(level: LoadLevel) -> str:
    """What the largest input that is told makes, controls as told; '' where none is told."""
    if level.told is None:
        return ""
    loud = f", {level.told_loudness:.0f} dB SPL" if level.told_loudness is not None else ""
    return f"{show(level.told, VOLT)} rms{loud}"


def _level(level: LoadLevel) -> str:
    load = "without load" if math.isinf(level.ohms) else f"into {show(level.ohms, OHM)}"
    told = told_text(level)
    told = f"; the largest input told, controls as told, makes {told}" if told else ""
    return f"most {load}, controls fully open: {level_text(level)}; {plain(level.limit)}{told}"


def _rest(row: RestRow, names: Names) -> str:
    if row.nominal is None:
        return f"{names.name(row.key)}: not known, {plain(row.reason)}"
    unit = _UNITS[row.unit]
    return f"{names.name(row.key)}: {show(_round(row.nominal), unit)}{_between(row)}"


def _between(row: RestRow) -> str:
    if row.low is None or row.high is None or row.nominal is None:
        return ""
    low, high = (show(_round(value), _UNITS[row.unit]) for value in (row.low, row.high))
    return "" if low == high else f" ({low} to {high})"


def _round(value: float) -> float:
    """Numbers below a nano are rounding of the solver, not facts."""
    return 0.0 if abs(value) < 1e-9 else value


def _device(heat: DeviceHeat, names: Names) -> str:
    rest = f"{show(_round(heat.rest[0]), WATT)} at rest ({show(_round(heat.rest[1]), WATT)} to "
    rest += f"{show(_round(heat.rest[2]), WATT)})"
    load = "without load" if math.isinf(heat.load) else f"into {show(heat.load, OHM)}"
    most = f"at most {show(heat.most, WATT)} {load}"
    short = f", {show(heat.shorted, WATT)} with the output shorted" if heat.shorted is not None else ""
    rating = f"; rated {show(heat.rating, WATT)} in free air" if heat.rating is not None else ""
    known = any(value is not None for value in heat.celsius)
    rating += f"; inside {warmth(heat)}" if known or heat.cooling else ""
    return f"{names.name(heat.part)}: {rest}, {most}{short}{rating}"
