"""How a connector and its partner can physically go together, and which net then meets which."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Contact:
    """One pin in one way of mating.

    Attributes:
        pin: key of the pin of the near connector. meets: number of the far position it touches, or '' for none.
        here: key of the net of the pin. there: key of the net that the far position carries, or None when the
            pin is left open.
    """

    pin: str
    meets: str
    here: str
    there: str | None


@dataclass(frozen=True, slots=True)
class Mating:
    """One way in which a connector can be mated.

    Attributes:
        key: keys of the members, joined, and the way. near: part key. far: part key, or None on a lone board.
        cable: name of the cable, or ''. way: 'right', 'turned' or 'shifted'. step: how it is shifted, a clause
            ("by one pin towards pin 1", "by one column", "across the rows"), else ''.
        possible: None when not known (whether the housing is keyed).
        supply_entry: up to six pins that carry rails and grounds only.
        contacts: one per pin of the near connector, in natural order.
    """

    key: str
    near: str
    far: str | None
    cable: str
    way: str
    step: str
    possible: bool | None
    supply_entry: bool
    contacts: tuple[Contact, ...]
