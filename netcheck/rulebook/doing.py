"""All numbers of a board as a report tells them: its signal paths between their ends, supplies, heat, channels."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace

from netcheck.circuit.conduction import TRANSISTORS
from netcheck.circuit.model import Net
from netcheck.language.scope import TooManySteps
from netcheck.language.values import Unknown
from netcheck.physics.behaviour import Behaviour, ChannelRow, DeviceHeat, LoadLevel, PathBehaviour
from netcheck.physics.ports import Told
from netcheck.rulebook.facts import Facts
from netcheck.rulebook.functions_output import loads_of, stages_of, temperature
from netcheck.rulebook.nouns_heat import heatsinks
from netcheck.rulebook.signals import signals_of
from netcheck.rulebook.supplies import supplies
from netcheck.rulebook.supplyrows import supply_rows

NO_LOAD = float("inf")
MOST_CHANNELS, MOST_LEFT_OVER = 12, 12
OUTPUT_STAGE = "output-stage"  # the shape whose `output` is where a stage gives its signal


def numbers_of(facts: Facts, board: str) -> Behaviour:
    """Everything that is computed of a board; the solver is imported when this is first asked for."""
    from netcheck.physics.numbers import Way, behaviour
    from netcheck.physics.signalpaths import SOURCE_BACK

    points, signals = facts.at_rest.points, signals_of(facts)
    nets, ways, seen = facts.circuit.nets, [], set()
    for path in signals.paths:
        at = path.input.node or path.output.node
        same = (path.input.node, path.output.node, path.output.back)  # sockets side by side
        if nets[at].board != board or same in seen:
            continue
        seen.add(same)
        numbers = signals.numbers(path)
        between = numbers.reasons or numbers.model(NO_LOAD, numbers.usual)
        if not isinstance(between, tuple) and SOURCE_BACK in between.network.known:
            between = replace(between, opposite=SOURCE_BACK)
        ways.append(Way(path, between, numbers.full))
    sinks = {way.path.output.pin: way.path.sink for way in ways if way.path.sink is not None}
    found = behaviour(points, board, ways)
    found = _without_windings(facts, found)
    return replace(
        found,
        paths=tuple(_loud(facts, one, sinks) for one in found.paths),
        supplies=supply_rows(facts, board),
        devices=tuple(_warm(facts, device) for device in found.devices),
        channels=_channels(facts, board),
    )


def _without_windings(facts: Facts, found: Behaviour) -> Behaviour:
    """Without the nets between windings and their rectifiers: they have no volts at rest, the supplies tell of them."""
    made = supplies(facts)
    ends = {net for supply in made.rails for winding in supply.rail.windings for net in winding.ends}
    around = {net for end in ends for net in made.nodes.nets(end)}
    left = [row for row in found.volts if row.nominal is None and row.key in around]
    count = Counter(dict(found.not_computed))
    count.subtract(row.reason.split("; ")[0] for row in left)
    return replace(
        found,
        volts=tuple(row for row in found.volts if row not in left),
        not_computed=tuple((why, number) for why, number in count.items() if number > 0),
    )


def _loud(facts: Facts, path: PathBehaviour, sinks: Mapping[str, Told]) -> PathBehaviour:
    """With the loudness of its largest signals, where the sensitivity of what hangs there is told."""
    sink = sinks.get(path.output_pin)
    if sink is None or sink.sensitivity is None:
        return path
    from netcheck.physics.levels import sound_level

    sensitivity = sink.sensitivity

    def loud(level: LoadLevel) -> LoadLevel:
        if math.isinf(level.ohms):
            return level
        told = None if level.told is None else sound_level(level.told, level.ohms, sensitivity)
        most = sound_level(_most_volts(facts, path, level), level.ohms, sensitivity)
        return replace(level, loudness=most, told_loudness=told)

    return replace(path, loads=tuple(loud(one) for one in path.loads))


def _most_volts(facts: Facts, path: PathBehaviour, level: LoadLevel) -> float:
    """Volts rms that the output stage of a path may give over the spread of its parts, as rules have it."""
    most = level.volts
    for net in _stages(facts):
        if any(told.pin == path.output_pin for told in loads_of(facts).outputs_at(net)):
            work = stages_of(facts).driven(net, level.ohms)
            most = most if isinstance(work, tuple) else max(most, work.most.level.volts)
    return most


def _stages(facts: Facts) -> tuple[str, ...]:
    """Keys of the nets on which output stages have their output; none where they were not all looked for."""
    try:
        found = facts.matches(OUTPUT_STAGE).matches if OUTPUT_STAGE in facts.shapes else ()
    except TooManySteps:
        return ()
    return tuple(dict.fromkeys(net.key for match in found if isinstance(net := match.names.get("output"), Net)))


def _warm(facts: Facts, device: DeviceHeat) -> DeviceHeat:
    """With the temperature inside at rest and at the most that it takes up over drive."""
    part = facts.circuit.parts[device.part]
    at_rest, driven = (temperature(facts, part, watts) for watts in (device.rest[0], device.most))
    reasons = driven.reasons if isinstance(driven, Unknown) else ()
    ends = tuple(None if isinstance(one, Unknown) else one for one in (at_rest, driven))
    mounted = any(part.key in sink.parts for sink in heatsinks(facts))
    rating = None if mounted and part.kind in TRANSISTORS else device.rating  # that of the book is in free air
    why = "; ".join(reasons[:1])
    return replace(device, celsius=(ends[0], ends[1]), cooling=why, mounted=mounted, rating=rating)


def _channels(facts: Facts, board: str) -> tuple[ChannelRow, ...]:
    """What stands twice on a board, left and right."""
    parts, rows = facts.circuit.parts, []
    for pair in facts.channels:
        couples = [couple for couple in pair.couples if parts[couple.left].board == board]
        if not couples:
            continue
        left_over = tuple(key for key in pair.left_over if parts[key].board == board)
        differ = tuple(
            (couple.left, couple.right)
            for couple in couples
            if parts[couple.left].value.number != parts[couple.right].value.number
            or (parts[couple.left].value.number is None and parts[couple.left].value != parts[couple.right].value)
        )
        rows.append(
            ChannelRow(
                left=tuple(couple.left for couple in couples),
                right=tuple(couple.right for couple in couples),
                told_by=pair.told_by,
                differ=differ,
                left_over=left_over[:MOST_LEFT_OVER],
                meetings=tuple(one.key for one in pair.meetings),
            )
        )
    return tuple(rows[:MOST_CHANNELS])
