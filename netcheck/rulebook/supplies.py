"""Rails behind rectifiers and what regulators make of them, found once for all facts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

from netcheck.intake.assembly import ChassisPart
from netcheck.physics.rectifying_rails import Rectified, rectified_rails, spoken_windings
from netcheck.physics.rectifying_windings import tells_alternating, windings
from netcheck.rulebook.facts import Facts

if TYPE_CHECKING:
    from netcheck.physics.supplying_current import DrivenLoad
    from netcheck.physics.supplying_rows import Supplies

_FOUND: WeakKeyDictionary[Facts, tuple[Rectified, ...]] = WeakKeyDictionary()
_SUPPLIES: WeakKeyDictionary[Facts, Supplies] = WeakKeyDictionary()


def rectified(facts: Facts) -> tuple[Rectified, ...]:
    """Rails that windings with known volts charge; nothing is looked at where none is told."""
    if facts not in _FOUND:
        told: Mapping[str, ChassisPart] = facts.assembled.chassis if facts.assembled is not None else {}
        open_ended = (part for part in facts.by_kind.get("connector", ()) if tells_alternating(part))
        makers = [*facts.by_kind.get("transformer", ()), *facts.by_kind.get("source", ())]
        parts = [*makers, *(part for part in open_ended if not facts.is_mated(part))]
        found = windings(facts.circuit, facts.words, told, parts) if parts else ()
        _FOUND[facts] = rectified_rails(facts.walks, found)
    return _FOUND[facts]


def supplies(facts: Facts) -> Supplies:
    """What rails have and give, computed when it is asked for; the solver is imported here."""
    if facts not in _SUPPLIES:
        from netcheck.physics.supplying_rows import Supplies

        _SUPPLIES[facts] = Supplies(facts.at_rest.points, rectified(facts), facts.words, _loads(facts))
    return _SUPPLIES[facts]


def _loads(facts: Facts) -> tuple[DrivenLoad, ...] | None:
    """Loads at the outputs that an assembly file names, the least of each; None without an assembly."""
    from netcheck.physics.supplying_current import DrivenLoad

    if facts.assembled is None or not facts.assembled.file.outputs:
        return None
    pins = facts.circuit.pins
    return tuple(
        DrivenLoad(pins[facts.assembled.pins[out.at.text]], min(out.loads), _peak(out.largest_volts))
        for out in facts.assembled.file.outputs
        if out.loads and out.at.text in facts.assembled.pins
    )


def _peak(volts: float | None) -> float | None:
    return None if volts is None else volts * math.sqrt(2)


def spoken_rail(facts: Facts, rail: Rectified) -> str:
    """The windings of a rail in words."""
    return spoken_windings(facts.circuit, rail)
