"""What a connector is: family, keyed or not, rows, positions, pitch; from its footprint and its library part."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from netcheck.circuit.footprints import layout
from netcheck.circuit.nametables import Housing, NameTables

# Families whose names hold a size that is no pitch: a jack of 3.5 mm.
_NO_PITCH = frozenset({"jack", "barrel", "usb", "rca", "xlr", "din", "coaxial", "banana", "card"})


@dataclass(frozen=True, slots=True)
class ConnectorReading:
    """Facts of a connector; see `model.Part`."""

    family: str = ""
    keyed: bool | None = None
    rows: int = 0
    positions: int | None = None
    pitch: float | None = None


def read_connector(
    footprint: str,
    library_part: str,
    numbers: Iterable[str],
    tables: NameTables,
    told_family: str = "",
    told_keyed: bool | None = None,
) -> ConnectorReading:
    """Facts of a connector.

    Args:
        numbers: of its pins; they count the positions where no name does.
        told_family, told_keyed: what is known from outside; it wins.
    """
    name = footprint.rsplit(":", 1)[-1]
    housing = _housing(name, library_part, tables)
    family = told_family or (housing.family if housing else "")
    keyed = told_keyed
    if keyed is None and not told_family and housing is not None:
        keyed = housing.keyed
    found = layout(footprint, library_part)
    counted = sum(number.isdecimal() for number in numbers)
    in_a_row = family not in _NO_PITCH
    return ConnectorReading(
        family, keyed, found.rows, found.positions or counted or None, found.pitch if in_a_row else None
    )


def _housing(name: str, library_part: str, tables: NameTables) -> Housing | None:
    """By the footprint when there is one that tells, else by the library part."""
    by_name = next((each for each in tables.housings if not each.by_part and name and each.patterns.fit(name)), None)
    if by_name is not None:
        return by_name
    if not library_part:
        return None
    return next((each for each in tables.housings if each.patterns.fit(library_part)), None)
