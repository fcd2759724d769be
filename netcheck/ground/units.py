"""Units of the rule language: their dimensions, how they are written and how values are shown.

A unit is a product of powers of the base quantities volt, ampere, second, kelvin, metre, euro and decibel.
A plain number has no dimension at all. Percent is a plain number times one hundredth.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction

_BASES = ("V", "A", "s", "K", "m", "EUR", "dB")


@dataclass(frozen=True)
class Unit:
    """Powers of the base quantities, in the order volt, ampere, second, kelvin, metre, euro, decibel.

    >>> OHM * FARAD == SECOND
    True
    """

    powers: tuple[Fraction, ...]

    def __mul__(self, other: Unit) -> Unit:
        return Unit(tuple(a + b for a, b in zip(self.powers, other.powers, strict=True)))

    def __truediv__(self, other: Unit) -> Unit:
        return Unit(tuple(a - b for a, b in zip(self.powers, other.powers, strict=True)))

    def to(self, power: Fraction) -> Unit:
        """The unit raised to a power; one half for a square root."""
        return Unit(tuple(a * power for a in self.powers))

    @property
    def name(self) -> str:
        """The usual name where there is one, else a product of bases."""
        if self in _NAMES:
            return _NAMES[self]
        pieces = [
            base if power == 1 else f"{base}^{power}" for base, power in zip(_BASES, self.powers, strict=True) if power
        ]
        return " ".join(pieces) or "a plain number"


def _unit(**powers: int) -> Unit:
    return Unit(tuple(Fraction(powers.get(base, 0)) for base in _BASES))


PLAIN = _unit()
VOLT = _unit(V=1)
AMPERE = _unit(A=1)
SECOND = _unit(s=1)
KELVIN = _unit(K=1)
METRE = _unit(m=1)
EURO = _unit(EUR=1)
DECIBEL = _unit(dB=1)
OHM = VOLT / AMPERE
SIEMENS = AMPERE / VOLT
WATT = VOLT * AMPERE
FARAD = AMPERE * SECOND / VOLT
HENRY = VOLT * SECOND / AMPERE
HERTZ = PLAIN / SECOND
SLEW = VOLT / SECOND
KELVIN_PER_WATT = KELVIN / WATT
VOLTS_PER_ROOT_HERTZ = VOLT / HERTZ.to(Fraction(1, 2))
AMPERES_PER_ROOT_HERTZ = AMPERE / HERTZ.to(Fraction(1, 2))

_NAMES = {
    PLAIN: "a plain number",
    VOLT: "volts",
    AMPERE: "amperes",
    SECOND: "seconds",
    KELVIN: "kelvins",
    METRE: "metres",
    EURO: "euros",
    DECIBEL: "decibels",
    OHM: "ohms",
    SIEMENS: "siemens",
    WATT: "watts",
    FARAD: "farads",
    HENRY: "henries",
    HERTZ: "hertz",
    SLEW: "volts per second",
    KELVIN_PER_WATT: "kelvins per watt",
    VOLTS_PER_ROOT_HERTZ: "volts per root hertz",
    AMPERES_PER_ROOT_HERTZ: "amperes per root hertz",
}

_SYMBOLS = {
    VOLT: "V",
    AMPERE: "A",
    SECOND: "s",
    METRE: "m",
    OHM: "Ω",
    SIEMENS: "S",
    WATT: "W",
    FARAD: "F",
    HENRY: "H",
    HERTZ: "Hz",
    SLEW: "V/s",
    VOLTS_PER_ROOT_HERTZ: "V/√Hz",
    AMPERES_PER_ROOT_HERTZ: "A/√Hz",
}
_UNSCALED = {KELVIN: "K", EURO: "EUR", DECIBEL: "dB", KELVIN_PER_WATT: "K/W"}

# What may stand after a number in a limit, and what it is worth in base units.
_WRITTEN: dict[str, tuple[float, Unit]] = {"%": (0.01, PLAIN), "EUR": (1.0, EURO), "dB": (1.0, DECIBEL)}
_WRITTEN |= {"K": (1.0, KELVIN), "K/W": (1.0, KELVIN_PER_WATT), "V/us": (1e6, SLEW), "V/µs": (1e6, SLEW)}
_PREFIXES = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "m": 1e-3, "": 1.0, "k": 1e3, "M": 1e6, "G": 1e9}
for _symbol, _base in {
    "V": VOLT,
    "A": AMPERE,
    "s": SECOND,
    "W": WATT,
    "F": FARAD,
    "H": HENRY,
    "Hz": HERTZ,
    "ohm": OHM,
    "Ω": OHM,
    "V/rtHz": VOLTS_PER_ROOT_HERTZ,
    "A/rtHz": AMPERES_PER_ROOT_HERTZ,
}.items():
    for _prefix, _factor in _PREFIXES.items():
        _WRITTEN[_prefix + _symbol] = (_factor, _base)
_WRITTEN |= {"mm": (1e-3, METRE), "cm": (1e-2, METRE)}

_QUANTITY = re.compile(r"\s*([+-]?(?:\d+(?:\.\d+)?|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*(\S*)\s*")


@dataclass(frozen=True)
class Quantity:
    """A number in base units and its unit: 4.7 kohm is Quantity(4700.0, OHM)."""

    value: float
    unit: Unit

    def __str__(self) -> str:
        return show(self.value, self.unit)


def read_quantity(text: str) -> Quantity:
    """A quantity written out in full, as limits and assembly files have it.

    Raises:
        ValueError: with a sentence that says what is wrong and how to write it.

    >>> read_quantity("4.7 kohm")
    Quantity(value=4700.0, unit=Unit(powers=(Fraction(1, 1), Fraction(-1, 1), Fraction(0, 1), \
Fraction(0, 1), Fraction(0, 1), Fraction(0, 1), Fraction(0, 1))))
    >>> read_quantity("2 %").value
    0.02
    >>> read_quantity("4k7")
    Traceback (most recent call last):
    ...
    ValueError: '4k7' is not a number with a unit; write it out, for example 4.7 kohm or 10 nF
    """
    match = _QUANTITY.fullmatch(text)
    if match is None or (match[2] and match[2] not in _WRITTEN):
        raise ValueError(f"'{text}' is not a number with a unit; write it out, for example 4.7 kohm or 10 nF")
    if not match[2]:
        return Quantity(float(match[1]), PLAIN)
    factor, unit = _WRITTEN[match[2]]
    return Quantity(_times(match[1], factor), unit)


def _times(number: str, factor: float) -> float:
    """A decimal number times a power of ten without the noise of binary multiplication.

    >>> _times("4.7", 1e-6)
    4.7e-06
    """
    exponent = round(math.log10(factor))
    return float(f"{number}e{exponent}") if "e" not in number.lower() else float(number) * factor


def show(value: float, unit: Unit = PLAIN) -> str:
    """A value for people: engineering notation, three digits, the unit.

    >>> show(4700.0, OHM), show(2.2e-6, FARAD), show(0.0, OHM), show(-15.0, VOLT)
    ('4.7 kΩ', '2.2 µF', '0 Ω', '-15 V')
    >>> show(float("inf"), OHM)
    'an open circuit'
    """
    if math.isnan(value):
        return "not a number"
    if math.isinf(value):
        if unit == OHM and value > 0:
            return "an open circuit"
        return "without limit" if value > 0 else "without lower limit"
    if unit == PLAIN:
        return _digits(value)
    if unit in _UNSCALED:
        return f"{_digits(value)} {_UNSCALED[unit]}"
    symbol = _SYMBOLS.get(unit)
    if symbol is None:
        return f"{_digits(value)} {unit.name}"
    if value == 0:
        return f"0 {symbol}"
    scaled = float(f"{value:.3g}")
    power = min(3, max(-5, math.floor(math.log10(abs(scaled)) / 3 + 1e-12)))
    prefix = {-5: "f", -4: "p", -3: "n", -2: "µ", -1: "m", 0: "", 1: "k", 2: "M", 3: "G"}[power]
    return f"{_digits(scaled / 10.0 ** (3 * power))} {prefix}{symbol}"


def _digits(value: float) -> str:
    if value == int(value) and abs(value) < 1e6:
        return str(int(value))
    text = f"{value:.3g}"
    return f"{float(text):g}" if "e" in text and abs(value) < 1e6 and abs(value) >= 1e-4 else text
