"""The signal paths of a circuit and their numbers, each worked out when a rule first asks for it."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, TypeVar

from netcheck.ground.units import DECIBEL_AT_MILLIWATT
from netcheck.language.values import Unknown
from netcheck.physics.coupling import MOST_PATHS, Coupling, OwnCorner, couplings, own_corner
from netcheck.physics.ports import SignalPath, Told, signal_paths, ways_of
from netcheck.rulebook.facts import Facts

if TYPE_CHECKING:  # the solver and numpy behind it are imported when the first number is asked for
    from netcheck.physics.points import Points
    from netcheck.physics.signalpaths import PathNumbers

CLOSES, SUPPOSED = "a control that closes", "a supposed rail"
NAMED, HALF_TURN = "share worth naming", "logarithmic track at half a turn"
_SIGNS = {"positive": 1.0, "negative": -1.0}
_KEPT = "signals of rules"
Value = TypeVar("Value")


class Signals:
    """Paths of one circuit."""

    def __init__(self, facts: Facts) -> None:
        self.facts = facts
        self._numbers: dict[SignalPath, PathNumbers] = {}
        inputs, outputs = _told(facts)
        self.paths = signal_paths(facts.at_rest.points, inputs, outputs)

    @cached_property
    def _at(self) -> Mapping[str, Sequence[SignalPath]]:
        found: dict[str, list[SignalPath]] = {}
        for path in self.paths:
            for node in path.nodes | {path.input.node}:
                found.setdefault(node, []).append(path)
        return found

    def with_nodes(self, nodes: Collection[str]) -> list[SignalPath]:
        """Paths in which all of some nodes have a say."""
        first, *others = sorted(nodes)
        here = self._at.get(first, ())
        return [path for path in here if all(node in path.nodes or node == path.input.node for node in others)]

    @property
    def named(self) -> float:
        """Share of a corner or of the noise below which a part is not named."""
        return self.facts.words.limit(NAMED).value

    @cached_property
    def couplings(self) -> tuple[Coupling, ...]:
        """Capacitors that signals pass."""
        return couplings(ways_of(self.facts.at_rest.points), self.paths)

    def own_corner(self, coupling: Coupling, load: float) -> OwnCorner | Unknown:
        """The highest corner that a coupling capacitor makes on one of its paths."""
        best: OwnCorner | Unknown = Unknown(("no path of the capacitor is computed",))
        for path in coupling.paths[:MOST_PATHS]:
            found = self.ask(path, lambda numbers: own_corner(numbers, coupling, load, self.named))
            if isinstance(found, Unknown):
                return found
            if isinstance(best, Unknown) or found.hertz > best.hertz:
                best = found
        return best

    def numbers(self, path: SignalPath) -> PathNumbers:
        """The numbers of a path; where volts of rails are missing, those that do not depend on them."""
        if path not in self._numbers:
            from netcheck.physics.signalpaths import PathNumbers

            closes = self.facts.words.limit(CLOSES).value
            found = PathNumbers(self.facts.at_rest.points, path, self._positions, closes)
            if found.reasons and not path.doubt and self._supposed is not None:
                other = PathNumbers(self._supposed, path, self._positions, closes, assumed=found.reasons)
                found = found if other.reasons else other
            self._numbers[path] = found
        return self._numbers[path]

    @cached_property
    def _positions(self) -> Mapping[str, float]:
        return _positions(self.facts)

    @cached_property
    def _supposed(self) -> Points | None:
        """The operating points with supposed volts on the rails of which only the sign is known; None without such."""
        volts = self.facts.words.limit(SUPPOSED).value
        rails = [net for net in self.facts.nets_of("rail") if net.volts is None and net.sign in _SIGNS]
        return self.facts.at_rest.with_rails({net.key: volts * _SIGNS[net.sign] for net in rails}) if rails else None

    def ask(self, path: SignalPath, what: Callable[[PathNumbers], Value | Unknown]) -> Value | Unknown:
        """A number of a path, its reasons told with the path; unknown where the equations have no solution."""
        from netcheck.physics.network.response import Singular

        try:
            return what(self.numbers(path))
        except Singular as singular:
            return Unknown((str(singular),))


def signals_of(facts: Facts) -> Signals:
    """The signal paths of a circuit, found once."""
    kept = facts.at_rest.points.kept
    if _KEPT not in kept:
        kept[_KEPT] = Signals(facts)
    found = kept[_KEPT]
    assert isinstance(found, Signals)
    return found


def _told(facts: Facts) -> tuple[list[Told], list[Told]]:
    if facts.assembled is None:
        return [], []
    file, pins = facts.assembled.file, facts.assembled.pins
    inputs = [
        Told(
            pins[entry.at.text],
            pins[entry.back.text] if entry.back is not None else "",
            source_ohms=entry.source_ohms,
            largest_volts=entry.largest_volts,
        )
        for entry in file.inputs
    ]
    outputs = [
        Told(
            pins[entry.at.text],
            pins[entry.back.text] if entry.back is not None else "",
            loads=tuple(ohms for ohms in entry.loads if ohms > 0),
            cable_farads=entry.cable_farads,
            wanted_volts=entry.largest_volts,
            sensitivity=entry.sensitivity,
        )
        for entry in file.outputs
    ]
    return inputs, outputs


def _positions(facts: Facts) -> dict[str, float]:
    """Where potentiometers stand that an assembly tells of: shares of their tracks, by key of the part."""
    if facts.assembled is None:
        return {}
    found = {}
    for position in facts.assembled.file.positions:
        if position.share is not None:
            name = position.at.text
            key = name.replace(".", "/", 1) if "." in name else f"chassis/{name}"
            part = facts.circuit.parts.get(key)
            taper = (part.value.taper if part is not None else None) or "linear"
            found[key] = track_share(position.share, taper, facts.words.limit(HALF_TURN).value)
    return found


def track_share(turn: float, taper: str, half: float = 0.15) -> float:
    """Share of its resistance that lies between the first end of a track and its wiper.

    Args:
        turn: of the whole turn, 0 to 1. taper: as a part's value states it; a letter B and one not stated are linear.
        half: share of a logarithmic track at half a turn.

    Source: an exponential through its ends and the share at half a turn, as such tracks are drawn; common practice.

    >>> track_share(0.5, "linear"), round(track_share(0.5, "log"), 3), round(track_share(0.5, "antilog"), 3)
    (0.5, 0.15, 0.85)
    >>> track_share(0.0, "log"), track_share(1.0, "letter A")
    (0.0, 1.0)
    """
    if taper in ("antilog", "letter C"):
        return 1.0 - track_share(1.0 - turn, "log", half)
    if taper not in ("log", "letter A"):
        return turn
    base = (1 / half - 1) ** 2
    return float((base**turn - 1) / (base - 1))


def loudness(path: SignalPath, volts: float) -> float | Unknown:
    """Level in dB SPL that volts (rms) make in what hangs at an output, by its sensitivity.

    Of a sensitivity at one milliwatt the load of fewest ohms counts: it takes most power.

    Source: definition of the sensitivity of headphones, dB SPL at 1 mW or at 1 V rms (IEC 60268-7; from memory).
    """
    sink = path.sink
    if sink is None or sink.sensitivity is None:
        return Unknown(("the sensitivity of what is driven is not given",))
    if sink.sensitivity.unit == DECIBEL_AT_MILLIWATT and not sink.loads:
        return Unknown(("the loads are not given",))
    from netcheck.physics.levels import sound_level

    return sound_level(volts, min(sink.loads, default=math.inf), sink.sensitivity)
