"""What a designer writes as the value of a part: 4k7, 0R22, 47uF/25V, 2k2 1%, 100k log, DNP."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PartValue:
    """The reading of a value text.

    Attributes:
        text: as written.
        number: ohms, farads or henries by the kind of the part; None when it has none or it is in doubt.
        doubt: why number is None though the kind wants one; a clause without the reference: "the value 'TBD'
            is not a number", "the value '3.3m' may be milliohm or megohm". None when there is no doubt.
        tolerance: as a fraction, 0.01 for 1 %. rated_volts, rated_watts, rated_amps: as stated, base units.
        dielectric: 'C0G', 'X7R', 'film', 'electrolytic', … as stated, upper case for class codes.
        taper: 'linear', 'log', 'antilog', or 'letter A' where only a letter is given (makers differ).
        not_fitted: the text says that the part is left out (DNP, NF, "not fitted", …).
    """

    text: str
    number: float | None = None
    doubt: str | None = None
    tolerance: float | None = None
    rated_volts: float | None = None
    rated_watts: float | None = None
    rated_amps: float | None = None
    dielectric: str | None = None
    taper: str | None = None
    not_fitted: bool = False
