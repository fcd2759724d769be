"""What a signal path does to a small signal: response, corners and what sets them, impedances, noise, controls."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from netcheck.ground.names import natural_key
from netcheck.physics.behaviour import ControlEffect, Corner, PathBehaviour, Variant
from netcheck.physics.network.elements import Resistor
from netcheck.physics.network.operating import Network
from netcheck.physics.network.response import NoiseShare, Singular, SmallSignal, Transfer, total_noise
from netcheck.physics.pathmodel import FREQUENCIES, MIDDLE, SOURCE, Curve, PathModel, crossing, path_model
from netcheck.physics.points import Points
from netcheck.physics.ports import SignalPath
from netcheck.physics.tolerance import by_part, loose, off_by, tolerance_of
from netcheck.physics.variants import Variants, controls_of

Real = NDArray[np.float64]

LOWER = np.logspace(-2, 0, 20, endpoint=False)  # looked at where the response is still flat at 1 Hz
HIGHER = np.logspace(6, 8, 21)[1:]
DROPS = (3.0, 0.5)
BAND = (20.0, 20e3)
LEAST_SHARE = 0.15  # what sets less than this much of a corner is not named
MOST_NAMED = 4
WIDEST = math.log(10.0)  # a corner that may be off by more than ten times has no ends that are worth telling
Reasons = tuple[str, ...]
QUIETEST = 1e-6  # a path that passes less than a millionth in all its band is none


def behaviour_of(points: Points, path: SignalPath, between: PathModel | Reasons | None = None) -> PathBehaviour:
    """All small-signal numbers of one path, worked out once for all of one structure; reasons where there are none.

    Args:
        between: the path with its source and its lead, where these are known; else it is driven without resistance.
    """
    ends = _ends(points, path)
    made = path_model(points, path) if between is None else between
    if isinstance(made, tuple):
        return replace(ends, reasons=made)
    parts = points.walks.circuit.parts
    off = tuple(tolerance_of(parts.get(made.part_of[name]), points.tolerances) for name in made.structure.names)
    key = ("behaviour of a path", made.structure.key, path.sink.loads if path.sink is not None else (), off)
    kept: tuple[PathModel, PathBehaviour] | None = points.kept.get(key)  # type: ignore[assignment]
    names = kept[0].renaming(made) if kept is not None else None
    if kept is not None and names is not None:
        return _renamed(kept[1], ends, names)
    found = _computed_or_why(points, made, ends)
    points.kept[key] = made, found
    return found


def _computed_or_why(points: Points, made: PathModel, ends: PathBehaviour) -> PathBehaviour:
    try:
        return _computed(points, made, ends)
    except Singular as singular:
        return replace(ends, reasons=(str(singular),))
    finally:
        made.small.forget()


def _renamed(found: PathBehaviour, ends: PathBehaviour, names: Mapping[str, str]) -> PathBehaviour:
    """The numbers of another path of the same structure, told of the parts of this one."""
    return replace(
        found,
        key=ends.key,
        board=ends.board,
        input=ends.input,
        output=ends.output,
        input_pin=ends.input_pin,
        output_pin=ends.output_pin,
        ends_at=ends.ends_at,
        parts=tuple(sorted((names[part] for part in found.parts), key=natural_key)),
        corners=tuple(replace(one, parts=tuple(names[part] for part in one.parts)) for one in found.corners),
        loudest=tuple((names[part], share) for part, share in found.loudest),
        controls=tuple(replace(one, part=names.get(one.part, one.part)) for one in found.controls),
        loosest=tuple((names[part], off) for part, off in found.loosest),
        variants=tuple(replace(one, control=names.get(one.control, one.control)) for one in found.variants),
    )


def _ends(points: Points, path: SignalPath) -> PathBehaviour:
    return PathBehaviour(
        key=f"{path.input.node} > {path.output.node}",
        board=points.walks.circuit.nets[path.input.node or path.output.node].board,
        input=path.input.node,
        output=path.output.node,
        input_pin=path.input.pin,
        output_pin=path.output.pin,
        ends_at=path.output.switch,
    )


def _computed(points: Points, made: PathModel, ends: PathBehaviour) -> PathBehaviour:
    small = made.small
    controls = controls_of(points, made)
    varied = Variants(points, made, controls)
    transfer = varied.transfer
    if not np.all(np.isfinite(transfer.values)) or np.max(np.abs(transfer.values)) < QUIETEST:
        return replace(ends, reasons=("nothing to speak of comes from the input to the output",))
    middle = float(np.interp(math.log(MIDDLE), np.log(FREQUENCIES), transfer.decibels))
    output = np.abs(small.impedance(made.output, FREQUENCIES))
    shares = small.noise(made.output, FREQUENCIES)
    low, high = np.searchsorted(FREQUENCIES, BAND)
    off = loose(points, made)
    variants = varied.all_of(loads_of(points, made.path, float(np.interp(MIDDLE, FREQUENCIES, output))), controls)
    return replace(
        ends,
        parts=tuple(sorted(set(made.part_of.values()) & points.walks.circuit.parts.keys(), key=natural_key)),
        frequencies=_plain(FREQUENCIES),
        decibels=_plain(transfer.decibels),
        degrees=_plain(np.degrees(np.unwrap(np.angle(transfer.values)))),
        delays=_plain(transfer.group_delay),
        gain=middle,
        corners=corners_of(points, made, transfer, middle),
        band=BAND,
        flatness=float(np.max(np.abs(transfer.decibels[low:high] - middle))),
        input_ohms=input_ohms(made),
        output_ohms=_plain(output),
        noise=in_band_noise(shares, FREQUENCIES),
        noise_weighted=in_band_noise(shares, FREQUENCIES, weighted=True),
        loudest=_loudest(made, shares),
        controls=_effects(variants),
        variants=variants,
        gain_off=off.gain,
        spread=_plain(off.spread),
        loosest=off.by_part,
    )


def loads_of(points: Points, path: SignalPath, ohms: float) -> tuple[float, ...]:
    """No load first, then those that are told for the output, or what outputs of so many ohms are meant for."""
    told = path.sink.loads if path.sink is not None else ()
    return (math.inf, *sorted(set(told or points.loads.behind(ohms)), reverse=True))


def _plain(values: Real) -> tuple[float, ...]:
    return tuple(float(value) for value in values)


# Corners


def corners_of(points: Points, made: PathModel, transfer: Transfer, middle: float) -> tuple[Corner, ...]:
    """Where the response has fallen by each of the drops, below and above 1 kHz, and what sets it there."""
    source = made.path.input.node
    curve = (transfer.frequencies, transfer.decibels)
    if curve[1][0] > middle - max(DROPS):
        curve = _joined(_curve(made, source, LOWER), curve)
    if curve[1][-1] > middle - max(DROPS):
        curve = _joined(curve, _curve(made, source, HIGHER))
    found = []
    for side in ("low", "high"):
        for drop in DROPS:
            hertz = _finely(made, curve, middle - drop, side)
            beyond = float(curve[0][0] if side == "low" else curve[0][-1])
            corner = Corner(side, drop, hertz, beyond)
            found.append(corner if hertz is None else _set_by(points, made, corner, hertz))
    return tuple(found)


def _finely(made: PathModel, curve: Curve, level: float, side: str) -> float | None:
    """Where a response comes down through a level; beyond the usual frequencies looked at once more, in small steps."""
    hertz = crossing(curve, level, side)
    if hertz is None or FREQUENCIES[0] <= hertz <= FREQUENCIES[-1]:
        return hertz
    near = hertz * np.logspace(-0.06, 0.06, 9)
    return crossing(_curve(made, made.path.input.node, near), level, side) or hertz


def _curve(made: PathModel, source: str, frequencies: Real) -> Curve:
    transfer = made.small.transfer(source, made.output, frequencies)
    return transfer.frequencies, transfer.decibels


def _joined(a: Curve, b: Curve) -> Curve:
    return np.concatenate([a[0], b[0]]), np.concatenate([a[1], b[1]])


def _set_by(points: Points, made: PathModel, corner: Corner, hertz: float) -> Corner:
    """With what sets it, capacitors first, by how much of it each sets (1 for an RC by itself), and with its ends.

    The corner moves so that the response there stays where it is against that at 1 kHz: d ln f / d ln C is the change
    of the one against the other, divided by the slope of the response.
    """
    found, slope = made.small.sensitivities(made.path.input.node, made.output, hertz)
    if abs(slope) < 1e-9:
        return corner
    there, middle = by_part(made, found), by_part(made, made.at_middle)
    moves = {part: (there[part] - middle[part]) / slope for part in there}
    parts = points.walks.circuit.parts
    ranked = sorted(
        moves,
        key=lambda part: (part not in parts or parts[part].kind != "capacitor", -abs(moves[part]), natural_key(part)),
    )
    named = [part for part in ranked if abs(moves[part]) >= LEAST_SHARE][:MOST_NAMED]
    off = off_by(points, moves)
    ends = (hertz * math.exp(-off), hertz * math.exp(off)) if off < WIDEST else (None, None)
    return replace(
        corner,
        parts=tuple(named),
        shares=tuple(round(abs(moves[part]), 3) for part in named),
        low=ends[0],
        high=ends[1],
    )


# Impedances, noise, controls


def input_ohms(made: PathModel, hertz: float = MIDDLE) -> float:
    """Magnitude of what a source meets at the input, its own resistance aside; infinite when nothing hangs there."""
    node = made.path.input.node
    ohms = next((e.ohms for e in made.network.elements if isinstance(e, Resistor) and e.name == SOURCE), 0.0)
    free = Network(made.network.elements, {k: v for k, v in made.network.known.items() if k != node})
    if node not in free.free_nodes():
        return math.inf
    return float(np.abs(SmallSignal(free, made.point).impedance(node, np.array([hertz]))[0] - ohms))


def a_weighting(hertz: Real) -> Real:
    """Gain of the A-weighting, 1 at 1 kHz.

    Source: IEC 61672-1, the formula and its frequencies (20.599, 107.653, 737.862, 12194.217 Hz) from memory.

    >>> [round(float(20 * np.log10(a_weighting(np.array([f]))[0])), 1) for f in (100.0, 1000.0, 10000.0)]
    [-19.1, 0.0, -2.5]
    """
    square = np.asarray(hertz, dtype=float) ** 2
    weight = 12194.217**2 * square**2
    weight = weight / ((square + 20.598997**2) * (square + 12194.217**2))
    weight = weight / np.sqrt((square + 107.65265**2) * (square + 737.86223**2))
    return np.asarray(weight * 10 ** (1.99995 / 20))


def in_band_noise(shares: Sequence[NoiseShare], frequencies: Real, weighted: bool = False) -> float:
    """RMS volts of noise between 20 Hz and 20 kHz, A-weighted if so asked.

    The band's edges are put among the frequencies, so that the band is whole.
    """
    density = np.sum([share.density for share in shares], axis=0) if shares else np.zeros(len(frequencies))
    inside = frequencies[(frequencies > BAND[0]) & (frequencies < BAND[1])]
    grid = np.concatenate([[BAND[0]], inside, [BAND[1]]])
    values = np.interp(np.log(grid), np.log(frequencies), density)
    if weighted:
        values = values * a_weighting(grid) ** 2
    return total_noise([NoiseShare("all", values)], grid)


def _loudest(made: PathModel, shares: Sequence[NoiseShare]) -> tuple[tuple[str, float], ...]:
    power: dict[str, float] = {}
    for share in shares:
        part = made.part_of[share.name]
        power[part] = power.get(part, 0.0) + in_band_noise([share], FREQUENCIES) ** 2
    whole = sum(power.values())
    if whole <= 0:
        return ()
    ranked = sorted(power, key=lambda part: (-power[part], natural_key(part)))
    return tuple((part, power[part] / whole) for part in ranked[:MOST_NAMED] if power[part] > 0.01 * whole)


def _effects(found: Sequence[Variant]) -> tuple[ControlEffect, ...]:
    """Gains of a path without load, by control."""
    gains: dict[str, list[float]] = {}
    for one in found:
        if one.control and math.isinf(one.ohms):
            gains.setdefault(one.control, []).append(one.gain)
    return tuple(ControlEffect(key, (of[0], of[1], of[2])) for key, of in gains.items())


__all__ = ["FREQUENCIES", "MIDDLE", "PathModel", "a_weighting", "behaviour_of", "crossing", "loads_of", "path_model"]
