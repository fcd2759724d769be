"""Noise and levels of a signal path: what hisses, what it takes and gives before something distorts."""

from __future__ import annotations

import math
from types import MappingProxyType

import numpy as np

from netcheck.ground.names import natural_key
from netcheck.language.values import Unknown
from netcheck.physics.behaviour import NO_LIMIT
from netcheck.physics.devices import NOMINAL, Setting
from netcheck.physics.drives import drive_once
from netcheck.physics.network.elements import Capacitor, Resistor
from netcheck.physics.pathmodel import PathModel
from netcheck.physics.paths import in_band_noise
from netcheck.physics.signalpaths import AROUND, OPEN, SOURCE, PathNumbers

NOISE_GRID = np.logspace(1, 5, 121)
MOST_NAMED = 6
MOST_DRIVEN_NODES = 80
DOWN = 0.01  # of its track: where a volume control stands when it is turned down


def noise(numbers: PathNumbers, weighted: bool = False) -> float | Unknown:
    """Volts rms between 20 Hz and 20 kHz at the output, its source at rest; A-weighted if so asked."""
    made = numbers.asked(numbers.loads[0])
    if isinstance(made, Unknown):
        return made
    if made.output not in made.small.index:
        return 0.0
    found = numbers.once(
        made,
        ("noise", weighted),
        lambda: in_band_noise(made.small.noise(made.output, NOISE_GRID), NOISE_GRID, weighted),
    )
    assert isinstance(found, float)
    return found


def noisiest(numbers: PathNumbers, least: float) -> tuple[str, ...] | Unknown:
    """Keys of the parts that make most of the noise, the loudest first.

    Args:
        least: share of the power of the loudest below which a part is not named.
    """
    made = numbers.asked(numbers.loads[0])
    if isinstance(made, Unknown) or made.output not in made.small.index:
        return made if isinstance(made, Unknown) else ()
    power: dict[str, float] = {}
    for share in made.small.noise(made.output, NOISE_GRID):
        part = made.part_of[share.name]
        if part not in AROUND:
            power[part] = power.get(part, 0.0) + in_band_noise([share], NOISE_GRID) ** 2
    most = max(power.values(), default=0.0)
    ranked = sorted(power, key=lambda part: (-power[part], natural_key(part)))
    return tuple(part for part in ranked if power[part] > least * most)[:MOST_NAMED]


def swing(numbers: PathNumbers, load: float, setting: Setting | None = None) -> tuple[float, str] | Unknown:
    """The largest sine at the output, volts rms, controls fully open or as set, and what limits it."""
    made = numbers.asked(OPEN, setting or numbers.full)  # the load is added where it is driven
    if isinstance(made, Unknown):
        return made
    if numbers.assumed:
        return Unknown(numbers.assumed)
    if numbers.path.output.back or len(made.path.nodes) > MOST_DRIVEN_NODES:
        return Unknown(("the largest signal of this path is not computed",))
    found = drive_once(numbers.points, made, load)
    if isinstance(found, tuple):
        return Unknown(found)
    return found.level.volts, found.level.limit


def most_before(numbers: PathNumbers) -> float | Unknown:
    """Volts rms of the source at which something distorts with the closing controls turned down.

    They stand at a hundredth of their track above their closed end: what still distorts lies before them.
    """
    if numbers.reasons:
        return Unknown(numbers.reasons)
    closed = {key: 0.0 if first < last else 1.0 for key, (first, last) in numbers.ends.items()}
    positions = {key: abs(closed[key] - DOWN) for key in numbers.closing_keys()} | {
        key: at for key, at in numbers.full.positions.items() if key not in numbers.closing_keys()
    }
    return _most(numbers, Setting(positions=MappingProxyType(positions)) if positions else NOMINAL)


def most_at_input(numbers: PathNumbers) -> float | Unknown:
    """Volts rms of the source beyond which the supply surely ends the output, all controls fully open."""
    made = numbers.asked(numbers.loads[0], numbers.full)
    if isinstance(made, Unknown):
        return made
    if numbers.assumed:
        return Unknown(numbers.assumed)
    rails = [volts for node, volts in made.network.known.items() if node not in AROUND]
    return (max(rails, default=0.0) - min(rails, default=0.0)) / 2 / math.sqrt(2) / abs(numbers.middle(made))


def _most(numbers: PathNumbers, setting: Setting) -> float | Unknown:
    made = numbers.asked(numbers.loads[0], setting)
    if isinstance(made, Unknown):
        return made
    key = ("signal path", made.structure.key, "most at the input", numbers.loads[0])
    if key not in numbers.points.kept:
        most = swing(numbers, numbers.loads[0], setting)
        if isinstance(most, Unknown):
            return most
        volts = most[0] / abs(numbers.middle(made))
        endless = most[1] == NO_LIMIT
        numbers.points.kept[key] = Unknown(("no source of so few volts makes it distort",), volts) if endless else volts
    found = numbers.points.kept[key]
    assert isinstance(found, float | Unknown)
    return found


def across(numbers: PathNumbers, part: str, hertz: float) -> float | Unknown:
    """Volts across a part of two ends for each volt of the source, at a frequency, controls fully open."""
    made = numbers.asked(numbers.loads[0], numbers.full)
    if isinstance(made, Unknown):
        return made
    places = [at for at, name in enumerate(made.structure.names) if name == part]
    if not places:
        return 0.0
    found = numbers.once(made, ("across", places[0], hertz), lambda: _across(made, part, hertz))
    assert isinstance(found, float)
    return found


def _across(made: PathModel, part: str, hertz: float) -> float:
    ends = (e for e in made.network.elements if isinstance(e, Capacitor | Resistor) and e.name == part)
    element = next(ends, None)
    if element is None:
        return 0.0
    small = made.small
    volts = [
        complex(small.transfer(SOURCE, node, np.array([hertz])).values[0]) if node in small.index else 0j
        for node in (element.a, element.b)
    ]
    return abs(volts[0] - volts[1])
