"""Whether a capacitor is polarised: by its footprint, its symbol and its value together."""

from __future__ import annotations

import re
from dataclasses import dataclass

from netcheck.circuit.kinds import library_part
from netcheck.circuit.nametables import NameTables
from netcheck.ground.quantities import PartValue
from netcheck.intake.netlist import Component

_POLAR = ("electrolytic", "tantalum", "polymer")
# How libraries describe the plain symbol: that speaks of the drawing, not of the part that is bought.
_PLAIN_SYMBOL = re.compile(r"unpolari[sz]ed capacitor|condensateur non polari[sz]e", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Polarity:
    """`polarised` as in `model.Part`; `pads` when the pads 1 and 2 have a sign, by symbol or footprint."""

    polarised: bool | None = None
    pads: bool | None = None
    conflict: str = ""


def read_polarity(
    component: Component, kind: str, value: PartValue, tables: NameTables, told: bool | None = None
) -> Polarity:
    """The real polarity of a capacitor.

    A polarised footprint makes it polarised whatever the symbol; a polarised symbol over the footprint of a ceramic or
    film capacitor does not. Both are told as contradictions.
    """
    if kind != "capacitor":
        return Polarity()
    if told is not None:
        return Polarity(told, told)
    table, name = tables.polarised, component.footprint.rsplit(":", 1)[-1]
    description = _PLAIN_SYMBOL.sub("", component.description)
    symbol = table.symbols.fit(library_part(component)) or "polarized cap" in description.lower()
    text = f"{component.value or ''} {description}".upper()
    if any(word in text for word in table.bipolar_words):
        return Polarity(False, symbol)
    by_footprint = bool(name) and table.footprints.fit(name)
    if (symbol or by_footprint) and value.number is not None and value.number < table.never_below:
        drawn = "symbol" if symbol else "footprint"
        return Polarity(False, symbol or by_footprint, f"its {drawn} is polarised, its value is too small for that")
    if by_footprint:
        conflict = "" if symbol or not component.library_part else "its footprint is polarised, its symbol is not"
        return Polarity(True, True, conflict)
    if name and table.unpolarised.fit(name) and not (value.dielectric or "").startswith(_POLAR):
        conflict = "its symbol is polarised, its footprint is that of a ceramic or film capacitor" if symbol else ""
        return Polarity(False, symbol, conflict)
    if symbol or (value.dielectric or "").lower().startswith(_POLAR):
        return Polarity(True, True)
    if name and table.cans.fit(name):
        return Polarity(None if _may_be_electrolytic(value, table.can_above) else False, None)
    large = _may_be_electrolytic(value, table.doubtful_above) and value.number is not None
    return Polarity(None if large and not name else False, None)


def _may_be_electrolytic(value: PartValue, above: float) -> bool:
    return value.number is None or value.number > above
