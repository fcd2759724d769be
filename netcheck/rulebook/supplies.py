"""Rails behind rectifiers and what regulators make of them, found once for all facts."""

from __future__ import annotations

from collections.abc import Mapping
from weakref import WeakKeyDictionary

from netcheck.intake.assembly import ChassisPart
from netcheck.physics.rectifying_rails import Rectified, rectified_rails, spoken_windings
from netcheck.physics.rectifying_windings import windings
from netcheck.rulebook.facts import Facts

_FOUND: WeakKeyDictionary[Facts, tuple[Rectified, ...]] = WeakKeyDictionary()


def rectified(facts: Facts) -> tuple[Rectified, ...]:
    """Rails that windings with known volts charge; nothing is looked at where there is no transformer."""
    if "transformer" not in facts.by_kind:
        return ()
    if facts not in _FOUND:
        told: Mapping[str, ChassisPart] = facts.assembled.chassis if facts.assembled is not None else {}
        _FOUND[facts] = rectified_rails(facts.walks, windings(facts.circuit, facts.words, told))
    return _FOUND[facts]


def spoken_rail(facts: Facts, rail: Rectified) -> str:
    """The windings of a rail in words."""
    return spoken_windings(facts.circuit, rail, {})
