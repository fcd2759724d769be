"""What of the numbers belongs to the head of a report: how loud it gets, how hot; a sentence each, or nothing."""

from __future__ import annotations

from collections.abc import Iterable

from netcheck.ground.units import CELSIUS, OHM, WATT, show
from netcheck.physics.behaviour import Behaviour
from netcheck.rulebook.facts import Facts

LOUD, HOT = "loud", "hot"


def loudest(facts: Facts, behaviours: Iterable[Behaviour]) -> str | None:
    """The most that is computed at an output whose sensitivity is told; None where that is not loud."""
    levels = [
        (level.loudness, level.ohms, path.output_pin)
        for found in behaviours
        for path in found.paths
        for level in path.loads
        if level.loudness is not None
    ]
    most, ohms, pin = max(levels, key=lambda one: one[0], default=(None, 0.0, ""))
    if most is None or most < facts.words.limit(LOUD).value:
        return None
    return f"Computed here: up to {most:.0f} dB SPL into {show(ohms, OHM)} at {pin.replace('/', '.', 1)}."


def warmest(facts: Facts, behaviours: Iterable[Behaviour]) -> str | None:
    """The hottest part that is computed; '' where only heatsinks are told, None where nothing gets hot."""
    found = list(behaviours)
    watts: dict[str, float] = {}
    for key, heat in [
        *((row.part, row.watts) for one in found for row in one.supplies),
        *((row.part, heat) for one in found for row in one.devices for heat in (row.most, row.rest[2])),
        *((row.key, row.high) for one in found for row in one.heat),
    ]:
        if heat is not None:
            watts[key] = max(heat, watts.get(key, 0.0))
    hottest = max(watts, key=lambda key: watts[key], default="")
    if not hottest or watts[hottest] < facts.words.limit(HOT).value:
        return "" if facts.assembled is not None and facts.assembled.file.heatsinks else None
    inside = [row.junction for one in found for row in one.supplies if row.part == hottest and row.junction]
    inside += [row.celsius[1] for one in found for row in one.devices if row.part == hottest and row.celsius[1]]
    warm = f", {show(max(inside), CELSIUS)} inside" if inside else ""
    return f"Computed here: up to {show(watts[hottest], WATT)} in {hottest.replace('/', '.', 1)}{warm}."
