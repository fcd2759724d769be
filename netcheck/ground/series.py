"""Preferred values: the E series.

Source: IEC 60063; E3 to E24 are tables of two digits, E48 to E192 are 10^(i/n) rounded to three digits, with one
exception in E192 (919 is 920).
"""

from __future__ import annotations

import math
from functools import cache

_E24 = (10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91)
SERIES = ("E3", "E6", "E12", "E24", "E48", "E96", "E192")


@cache
def series(name: str) -> frozenset[int]:
    """One decade of a series, as whole numbers of three digits.

    Raises:
        ValueError: if there is no such series.

    >>> sorted(series("E3"))
    [100, 220, 470]
    """
    if name not in SERIES:
        raise ValueError(f"there is no series '{name}'; it is one of: {', '.join(SERIES)}")
    number = int(name[1:])
    if number <= 24:
        return frozenset(10 * value for value in _E24[:: 24 // number])
    rounded = {round(100 * 10 ** (step / number)) for step in range(number)}
    return frozenset(rounded - {919} | {920}) if number == 192 else frozenset(rounded)


def in_series(value: float, name: str) -> bool:
    """Whether a value is in a series, in any decade.

    >>> in_series(4700.0, "E12"), in_series(4800.0, "E12")
    (True, False)
    """
    if value <= 0 or not math.isfinite(value):
        return False
    digits = value / 10.0 ** math.floor(math.log10(value) + 1e-9) * 100
    return abs(digits - round(digits)) < 1e-6 * digits and round(digits) in series(name)
