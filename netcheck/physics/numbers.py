"""All numbers of a board together: paths, levels, heat, volts at rest, and what could not be computed."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from netcheck.circuit.model import Part
from netcheck.ground.names import natural_key
from netcheck.language.values import Unknown
from netcheck.physics.behaviour import Behaviour, DeviceHeat, LoadLevel, PathBehaviour, RestRow
from netcheck.physics.devices import NOMINAL, Setting, figure
from netcheck.physics.drives import drive_once
from netcheck.physics.levels import Driven
from netcheck.physics.paths import PathModel, behaviour_of, loads_of, path_model
from netcheck.physics.points import Points
from netcheck.physics.ports import MOST_PATHS, SignalPath, signal_paths
from netcheck.physics.railcurrents import rail_currents

LOW_LOAD = 1000.0  # ohms; an output for loads of more is not looked at when shorted
MOST_DRIVEN_NODES = 80
MOST_ROWS = 40
LEAST_WATTS = 1e-3
_HOT = frozenset({"npn", "pnp", "nmos", "pmos", "njfet", "pjfet", "resistor"})


@dataclass(frozen=True)
class Way:
    """A path that is to be told.

    Attributes:
        between: the path behind its source and with its lead, or why there is none. None: driven without resistance.
        full: where its controls stand when most comes out. Levels and heat over drive are told so.
    """

    path: SignalPath
    between: PathModel | tuple[str, ...] | None = None
    full: Setting = NOMINAL

    @property
    def at(self) -> str:
        """The node that it begins at, or ends at where it has no beginning."""
        return self.path.input.node or self.path.output.node


def behaviour(points: Points, board: str, ways: Sequence[Way] | None = None) -> Behaviour:
    """Everything that is computed of one board; never raises for what a board holds.

    Args:
        ways: paths of the circuit with their sources; without them those of a board by itself.
    """
    nets = points.walks.circuit.nets
    if ways is None:
        ways = [Way(path) for path in signal_paths(points)]
    mine = [way for way in ways if nets[way.at].board == board]
    paths: list[PathBehaviour] = []
    devices: dict[str, DeviceHeat] = {}
    for way in mine[:MOST_PATHS]:
        found = behaviour_of(points, way.path, way.between)
        if not found.reasons:
            loads, heats = _levels(points, way, found)
            found = replace(found, loads=loads)
            for heat in heats:
                if heat.part not in devices or devices[heat.part].most < heat.most:
                    devices[heat.part] = heat
        paths.append(found)
    volts, missing = _volts(points, board)
    ranked = sorted(devices.values(), key=lambda heat: (-_rounded(heat.most), natural_key(heat.part)))
    return Behaviour(
        board=board,
        paths=tuple(paths),
        more_paths=max(0, len(mine) - MOST_PATHS),
        volts=volts,
        heat=_heat(points, board),
        devices=tuple(ranked[:MOST_ROWS]),
        rails=rail_currents(points, board),
        not_computed=tuple(sorted(missing.items(), key=lambda pair: (-pair[1], pair[0]))[:MOST_ROWS]),
    )


def _rounded(value: float) -> float:
    """Three digits, so that equal channels stand in their natural order."""
    return float(f"{value:.3g}")


def _levels(points: Points, way: Way, found: PathBehaviour) -> tuple[tuple[LoadLevel, ...], list[DeviceHeat]]:
    path = way.path
    made = path_model(points, path, way.full)
    if isinstance(made, tuple) or len(path.nodes) > MOST_DRIVEN_NODES:
        return (), []
    loads = loads_of(points, path, found.output_ohms_at(1000.0) or math.inf)
    driven = {ohms: drive_once(points, made, ohms) for ohms in loads}
    shown = [one for one in driven.values() if isinstance(one, Driven)]
    lowest = driven[loads[-1]]
    shorted = drive_once(points, made, 0.0) if loads[-1] <= LOW_LOAD else None
    heats = _devices(points, made, lowest, shorted if isinstance(shorted, Driven) else None, loads[-1])
    return tuple(_at_told(one.level, way, found) for one in shown), heats


def _at_told(level: LoadLevel, way: Way, found: PathBehaviour) -> LoadLevel:
    """With what the largest input that is told makes of it, its controls as told; no more than the stage can give."""
    most = way.path.source.largest_volts if way.path.source is not None else None
    gain = next((one.gain for one in found.variants if one.ohms == level.ohms and not one.control), None)
    if most is None or gain is None:
        return level
    asked = most * 10 ** (gain / 20)
    return replace(level, told=min(asked, level.volts) if level.ends else asked)


def _devices(
    points: Points, made: PathModel, driven: Driven | tuple[str, ...], shorted: Driven | None, load: float
) -> list[DeviceHeat]:
    """Transistors and resistors that take up something worth telling, over drive into one load."""
    if isinstance(driven, tuple):
        return []
    parts = points.walks.circuit.parts
    found = []
    for name in driven.watts:
        part = parts.get(made.part_of.get(name, ""))
        if part is None or part.kind not in _HOT or name != part.key:
            continue
        most, peak = driven.worst(name)
        short = shorted.worst(name)[0] if shorted is not None and name in shorted.watts else None
        if max(most, short or 0.0) < LEAST_WATTS:
            continue
        at_rest = points.watts(part)
        rest = (driven.heat(name, 0.0),) * 3
        if not isinstance(at_rest, Unknown):
            rest = (at_rest.nominal, at_rest.low, at_rest.high)
        ends = driven.most_volts(name), driven.most_amps(name)
        row = DeviceHeat(part.key, rest, most, peak, short, load, _rating(part), volts=ends[0], amps=ends[1])
        found.append(row)
    return found


def _rating(part: Part) -> float | None:
    return part.value.rated_watts if part.kind == "resistor" else figure(part.record, "power_most", -1)


def _volts(points: Points, board: str) -> tuple[tuple[RestRow, ...], Counter[str]]:
    rows: list[RestRow] = []
    missing: Counter[str] = Counter()
    for key in sorted(points.walks.circuit.nets, key=natural_key):
        net = points.walks.circuit.nets[key]
        if net.board != board or net.role != "signal" or len(points.walks.circuit.pins_on(net)) < 2:
            continue
        found = points.volts(key)
        if isinstance(found, Unknown):
            missing[found.reasons[0] if found.reasons else "not known why"] += 1
            rows.append(RestRow(key, "V", None, reason="; ".join(found.reasons[:3])))
        else:
            rows.append(RestRow(key, "V", found.nominal, found.low, found.high))
    return tuple(rows), missing


def _heat(points: Points, board: str) -> tuple[RestRow, ...]:
    rows = []
    for part in points.walks.circuit.parts.values():
        if part.board == board and part.fitted and part.key in points.plan.by_part:
            found = points.watts(part)
            if not isinstance(found, Unknown) and found.high >= LEAST_WATTS:
                rows.append(RestRow(part.key, "W", found.nominal, found.low, found.high))
    rows.sort(key=lambda row: (-_rounded(row.high or 0.0), natural_key(row.key)))
    return tuple(rows[:MOST_ROWS])
