"""What the circuit will do, laid out for the page: tables with the channels side by side, and plots."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from netcheck.ground.names import plain
from netcheck.ground.units import HERTZ, OHM, SECOND, VOLT, show
from netcheck.intake.assembly import Targets
from netcheck.physics.behaviour import Behaviour, LoadLevel, PathBehaviour
from netcheck.report.display import Names
from netcheck.report.doingtables import (
    Table,
    channels_table,
    driven_table,
    heat_table,
    rails_table,
    ratings_table,
    supplies_table,
    varied_table,
    volts_table,
)
from netcheck.report.figures import (
    apart,
    corner_text,
    end_name,
    gain_text,
    level_text,
    other_rails,
    path_name,
    told_text,
)
from netcheck.report.plots import (
    delay_plot,
    delay_spread,
    response_plot,
    round_frequencies,
    strays_by,
    value_at,
    worst_stray,
)
from netcheck.review import Review

# Bounds of the page: columns of a table, paths with plots in all.
MOST_COLUMNS, MOST_PLOTTED = 4, 16
_QUIET = 1e-9  # what is less is rounding of the solver


@dataclass(frozen=True)
class PathPlots:
    """Two plots of a path and the values in them."""

    title: str
    response: Markup
    delay: Markup
    values: Table


@dataclass(frozen=True)
class BoardDoings:
    """All of one board. `silent`: (path, why nothing was computed). `varied`: with loads and controls, a path each."""

    board: str
    tables: tuple[Table, ...]
    varied: tuple[tuple[str, Table], ...]
    plots: tuple[PathPlots, ...]
    silent: tuple[tuple[str, str], ...]
    heat: Table | None
    driven: Table | None
    supplies: Table | None
    rails: Table | None
    channels: Table | None
    volts: Table | None
    remarks: tuple[str, ...]


def doings(review: Review, names: Names) -> tuple[BoardDoings, ...]:
    """What each board will do; boards of which nothing is known are left out."""
    found = []
    room = MOST_PLOTTED
    behaviours: tuple[Behaviour, ...] = tuple(review.behaviour.values())
    if review.assembly_given:
        whole, behaviours = apart(behaviours, review.name)
        behaviours = (whole, *behaviours) if whole is not None else behaviours
    for behaviour in behaviours:
        board = _board(behaviour, review, names.at(behaviour.board), room)
        room -= len(board.plots)
        if board.tables or board.silent or board.heat or board.volts or board.rails or board.supplies:
            found.append(board)
    return tuple(sorted(found, key=lambda board: not board.tables))  # what signals do comes first


def least_ratings(review: Review, names: Names) -> Table | None:
    """What to buy for parts whose rating is not stated, for all boards together."""
    return ratings_table(review.ratings, names)


def _board(behaviour: Behaviour, review: Review, names: Names, room: int) -> BoardDoings:
    computed = [path for path in behaviour.paths if not path.reasons and path.frequencies]
    groups = [computed[at : at + MOST_COLUMNS] for at in range(0, len(computed), MOST_COLUMNS)]
    places = {board.name: place for place, board in enumerate(review.circuit.boards)}
    prefix = f"path-{places.get(behaviour.board, 0)}"
    return BoardDoings(
        board=behaviour.board,
        tables=tuple(_paths_table(group, review.targets, names) for group in groups),
        plots=tuple(
            _plots(path, review.targets, names, f"{prefix}-{place}") for place, path in enumerate(computed[:room])
        ),
        silent=tuple(
            (path_name(path, names), plain("; ".join(path.reasons[:3]), 400))
            for path in behaviour.paths
            if path.reasons
        ),
        varied=tuple((path_name(path, names), table) for path in computed if (table := varied_table(path, names))),
        heat=heat_table(behaviour.heat, names),
        driven=driven_table(behaviour.devices, names),
        supplies=supplies_table(behaviour.supplies, names),
        rails=rails_table(other_rails(behaviour), names),
        channels=channels_table(behaviour.channels, names),
        volts=volts_table(behaviour.volts, names),
        remarks=tuple(_remarks(behaviour, len(computed), room, any(one.paths for one in review.behaviour.values()))),
    )


def _remarks(behaviour: Behaviour, computed: int, room: int, anywhere: bool) -> Iterator[str]:
    if not anywhere:
        yield "No way of a signal from an input through an amplifier to an output is seen."
    if behaviour.more_paths:
        yield f"{behaviour.more_paths} further paths are not computed."
    if computed > room:
        yield f"{computed - max(room, 0)} of the paths have no plot: the page has no room for more."
    for why, count in behaviour.not_computed[:8]:
        yield f"Volts of {count} {'net is' if count == 1 else 'nets are'} not known: {plain(why, 200)}."


# Signal paths


def _paths_table(paths: Sequence[PathBehaviour], targets: Targets | None, names: Names) -> Table:
    wanted = targets.group_delay if targets else None
    low, high = (wanted.low, wanted.high) if wanted else paths[0].band
    slow = f" (wanted: at most {show(wanted.most, SECOND)})" if wanted and wanted.most is not None else ""
    quiet = f" (wanted: at most {show(targets.noise, VOLT)})" if targets and targets.noise is not None else ""
    rows: list[tuple[str, ...]] = [
        ("Gain at 1 kHz", *(gain_text(path) for path in paths)),
        _flatness(paths, targets),
    ]
    for side, drop, head in (
        ("low", 3.0, "-3 dB, low end"),
        ("low", 0.5, "-0.5 dB, low end"),
        ("high", 0.5, "-0.5 dB, high end"),
        ("high", 3.0, "-3 dB, high end"),
    ):
        corners = [path.corner(side, drop) for path in paths]
        told = (corner_text(one, names).removeprefix(f"-{drop:g} dB ") if one else "not found" for one in corners)
        rows.append((head, *told))
    rows += [
        (
            f"Spread of group delay, {_span(low, high)}{slow}",
            *(show(delay_spread(path, low, high), SECOND) for path in paths),
        ),
        ("Input impedance at 1 kHz", *(show(path.input_ohms, OHM) for path in paths)),
        ("Output impedance at 1 kHz", *(show(path.output_ohms_at(1000.0) or 0.0, OHM) for path in paths)),
        (f"Noise, 20 Hz to 20 kHz, source at rest{quiet}", *(_noise(path, names) for path in paths)),
    ]
    rows.append(("What moves the gain most", *(_loosest(path, names) for path in paths)))
    for ohms in dict.fromkeys(level.ohms for path in paths for level in path.loads):
        levels = [next((level for level in path.loads if level.ohms == ohms), None) for path in paths]
        into = "without load" if math.isinf(ohms) else f"into {show(ohms, OHM)}"
        rows.append((f"Most {into}, controls fully open", *(_level(level) for level in levels)))
        made = [told_text(level) if level is not None else "" for level in levels]
        if any(made):
            rows.append((f"From the largest input told {into}, controls as told", *(one or "not told" for one in made)))
    for key in dict.fromkeys(control.part for path in paths for control in path.controls):
        found = [next((one.gains for one in path.controls if one.part == key), None) for path in paths]
        told = (f"{one[0]:.1f}, {one[1]:.1f}, {one[2]:.1f} dB" if one else "no say" for one in found)
        rows.append((f"{names.name(key)}: one end, middle of its track, other end", *told))
    return Table(("", *(path_name(path, names) for path in paths)), tuple(rows))


def _flatness(paths: Sequence[PathBehaviour], targets: Targets | None) -> tuple[str, ...]:
    """How far each path strays from its gain at 1 kHz, over the band that is wanted where one is told."""
    wanted = targets.passband if targets else None
    if wanted is None:
        return (f"Flat from {_span(*paths[0].band)}", *(_stray(path, *path.band) for path in paths))
    aim = f" (wanted: within {wanted.most:g} dB)" if wanted.most is not None else ""
    return (
        f"Flat from {_span(wanted.low, wanted.high)}{aim}",
        *(_stray(path, wanted.low, wanted.high) for path in paths),
    )


def _stray(path: PathBehaviour, low: float, high: float) -> str:
    stray, most = strays_by(path, low, high), worst_stray(path, low, high)
    worse = f", at worst {most:.2f} dB over tolerances" if most > stray + 0.005 else ""
    return f"within {stray:.2f} dB{worse}"


def _loosest(path: PathBehaviour, names: Names) -> str:
    return ", ".join(f"{end_name(part, names)} {off:.2f} dB" for part, off in path.loosest[:3]) or "nothing to speak of"


def _span(low: float, high: float) -> str:
    return f"{show(low, HERTZ)} to {show(high, HERTZ)}"


def _noise(path: PathBehaviour, names: Names) -> str:
    loud = ", ".join(f"{end_name(part, names)} {share:.0%}" for part, share in path.loudest[:3])
    return f"{show(path.noise, VOLT)}; A-weighted {show(path.noise_weighted, VOLT)}" + (f". {loud}" if loud else "")


def _level(level: LoadLevel | None) -> str:
    return "not found" if level is None else f"{level_text(level)}: {plain(level.limit, 160)}"


def _plots(path: PathBehaviour, targets: Targets | None, names: Names, name: str) -> PathPlots:
    ends = path_name(path, names)
    rows = []
    for hertz in round_frequencies(path.frequencies[0], path.frequencies[-1]):
        gain, turn, delay, ohms = (
            value_at(path.frequencies, values, hertz)
            for values in (path.decibels, path.degrees, path.delays, path.output_ohms)
        )
        told = (f"{gain:.2f} dB", f"{_still(turn, 0.05):.1f}°", show(_still(delay), SECOND), show(ohms, OHM))
        rows.append((show(hertz, HERTZ), *told))
    return PathPlots(
        title=ends,
        response=response_plot(path, targets, f"Response, {ends}", f"{name}-response"),
        delay=delay_plot(path, targets, f"Group delay, {ends}", f"{name}-delay"),
        values=Table(("Frequency", "Gain", "Phase", "Group delay", "Output impedance"), tuple(rows)),
    )


def _still(value: float, least: float = _QUIET / 1e3) -> float:
    return 0.0 if abs(value) < least else value
