"""Units of the rule language: their dimensions, how they are written and how values are shown.

A unit is a product of powers of the base quantities volt, ampere, second, kelvin, metre, euro and decibel.
A plain number has no dimension at all. Percent is a plain number times one hundredth; so is an angle in degrees.

Some more stand for themselves, so that nothing can be added to them by mistake:

- degrees Celsius (45 C), a temperature on the thermometer. Kelvin are kept for differences (30 K) and 4 K/W.
- decibels at 1 mW and at 1 V (98 dB/mW), how loud a headphone is at that drive. They do not multiply with watts.
- volt-amperes (30 VA), the apparent power of a transformer, volts times amperes rms: more than the watts that it gives.

Levels with a reference are what they stand for: -100 dBV is 10 µV, 0 dBu is 0.775 V, 0 dBm is 1 mW.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from netcheck.ground.names import nearest, plain

_BASES = ("V", "A", "s", "K", "m", "EUR", "dB", "°C", "dB/mW", "dB/V", "VA")


@dataclass(frozen=True, eq=False)
class Unit:
    """Powers of the base quantities: volt, ampere, second, kelvin, metre, euro, decibel, and those above.

    >>> OHM * FARAD == SECOND
    True
    """

    powers: tuple[Fraction, ...]

    def __eq__(self, other: object) -> bool:
        if self is other:
            return True
        return isinstance(other, Unit) and hash(self) == hash(other) and self.powers == other.powers

    def __hash__(self) -> int:
        kept = self.__dict__.get("_hash")  # fractions take their time, and units are asked for all the time
        if kept is None:
            kept = hash(self.powers)
            object.__setattr__(self, "_hash", kept)
        return int(kept)

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


def _unit(base: str = "") -> Unit:
    return Unit(tuple(Fraction(int(base == name)) for name in _BASES))


PLAIN = _unit()
VOLT = _unit("V")
AMPERE = _unit("A")
SECOND = _unit("s")
KELVIN = _unit("K")
METRE = _unit("m")
EURO = _unit("EUR")
DECIBEL = _unit("dB")
CELSIUS = _unit("°C")
DECIBEL_AT_MILLIWATT = _unit("dB/mW")
DECIBEL_AT_VOLT = _unit("dB/V")
OHM = VOLT / AMPERE
SIEMENS = AMPERE / VOLT
WATT = VOLT * AMPERE
VOLT_AMPERE = _unit("VA")
FARAD = AMPERE * SECOND / VOLT
HENRY = VOLT * SECOND / AMPERE
HERTZ = PLAIN / SECOND
SLEW = VOLT / SECOND
KELVIN_PER_WATT = KELVIN / WATT
SQUARE_METRE = METRE * METRE
TESLA = VOLT * SECOND / SQUARE_METRE
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
    CELSIUS: "degrees Celsius",
    DECIBEL_AT_MILLIWATT: "decibels at 1 mW",
    DECIBEL_AT_VOLT: "decibels at 1 V",
    OHM: "ohms",
    SIEMENS: "siemens",
    WATT: "watts",
    VOLT_AMPERE: "volt-amperes",
    FARAD: "farads",
    HENRY: "henries",
    HERTZ: "hertz",
    SLEW: "volts per second",
    KELVIN_PER_WATT: "kelvins per watt",
    SQUARE_METRE: "square metres",
    TESLA: "teslas",
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
    VOLT_AMPERE: "VA",
    FARAD: "F",
    HENRY: "H",
    HERTZ: "Hz",
    SLEW: "V/s",
    TESLA: "T",
    VOLTS_PER_ROOT_HERTZ: "V/√Hz",
    AMPERES_PER_ROOT_HERTZ: "A/√Hz",
}
_UNSCALED = {KELVIN: "K", EURO: "EUR", DECIBEL: "dB", KELVIN_PER_WATT: "K/W", CELSIUS: "°C"}
_UNSCALED |= {DECIBEL_AT_MILLIWATT: "dB/mW", DECIBEL_AT_VOLT: "dB/V", SQUARE_METRE: "m²"}

# What may stand after a number in a limit: the power of ten that it is worth in base units, and the unit.
_WRITTEN: dict[str, tuple[int, Unit]] = {
    "%": (-2, PLAIN),
    "ppm": (-6, PLAIN),
    "deg": (0, PLAIN),
    "EUR": (0, EURO),
    "dB": (0, DECIBEL),
    "dB/mW": (0, DECIBEL_AT_MILLIWATT),
    "dB/V": (0, DECIBEL_AT_VOLT),
    "C": (0, CELSIUS),
    "°C": (0, CELSIUS),
    "K": (0, KELVIN),
    "K/W": (0, KELVIN_PER_WATT),
    "C/W": (0, KELVIN_PER_WATT),
    "°C/W": (0, KELVIN_PER_WATT),
    "V/s": (0, SLEW),
    "V/ms": (3, SLEW),
    "V/us": (6, SLEW),
    "V/μs": (6, SLEW),
    "m": (0, METRE),
    "cm": (-2, METRE),
    "mm": (-3, METRE),
    "mm2": (-6, SQUARE_METRE),
    "cm2": (-4, SQUARE_METRE),
    "VA": (0, VOLT_AMPERE),
    "kVA": (3, VOLT_AMPERE),
}
_PREFIXES = {"p": -12, "n": -9, "u": -6, "μ": -6, "m": -3, "": 0, "k": 3, "M": 6, "G": 9}
_SCALED = {
    "V": VOLT,
    "A": AMPERE,
    "s": SECOND,
    "W": WATT,
    "F": FARAD,
    "H": HENRY,
    "Hz": HERTZ,
    "S": SIEMENS,
    "T": TESLA,
}
_SCALED |= {"ohm": OHM, "Ω": OHM, "V/rtHz": VOLTS_PER_ROOT_HERTZ, "A/rtHz": AMPERES_PER_ROOT_HERTZ}
_SCALED |= {"V/√Hz": VOLTS_PER_ROOT_HERTZ, "A/√Hz": AMPERES_PER_ROOT_HERTZ}
_WRITTEN |= {prefix + symbol: (power, unit) for symbol, unit in _SCALED.items() for prefix, power in _PREFIXES.items()}
# Levels with a reference: decibels for a factor of ten, the reference in base units, its unit.
# Sources: dBV and dBm by their names; dBu is 1 mW in 600 ohm, the square root of 0.6 V (common practice).
_LEVELS = {"dBV": (20.0, 1.0, VOLT), "dBu": (20.0, math.sqrt(0.6), VOLT), "dBm": (10.0, 1e-3, WATT)}
_MOST_DECIBELS = 1000.0
_MOST_LETTERS = 60

_QUANTITY = re.compile(r"\s*([+-]?(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?)\s*(\S*)\s*")
_PART_NOTATION = re.compile(r"\s*([0-9]+)(?:\.([0-9]+))?([RkKMGpnuμ])([0-9]*)\s*")


@dataclass(frozen=True)
class Quantity:
    """A number in base units and its unit: 4.7 kohm is Quantity(4700.0, OHM)."""

    value: float
    unit: Unit

    def __str__(self) -> str:
        return show(self.value, self.unit)


@lru_cache(4096)
def read_quantity(text: str) -> Quantity:
    """A quantity written out in full, as limits and assembly files have it.

    Raises:
        ValueError: with a sentence that says what is wrong and how to write it.

    >>> read_quantity("4.7 kohm") == Quantity(4700.0, OHM), read_quantity("2 %").value
    (True, 0.02)
    >>> str(read_quantity("-100 dBV")), str(read_quantity("98 dB/mW")), str(read_quantity("45 C"))
    ('10 µV', '98 dB/mW', '45 °C')
    >>> read_quantity("4k7")
    Traceback (most recent call last):
    ...
    ValueError: '4k7' is not a number with a unit; write it out: 4.7 kohm
    """
    if len(text) > _MOST_LETTERS:
        raise ValueError(f"'{plain(text, 20)}' is too long for a number with a unit, for example 4.7 kohm or 10 nF")
    normal = unicodedata.normalize("NFKC", text).replace("−", "-")
    match = _QUANTITY.fullmatch(normal)
    if match is None or (match[2] and match[2] not in _WRITTEN and match[2] not in _LEVELS):
        raise ValueError(f"'{plain(text)}' is not a number with a unit; {_written_out(normal, match)}")
    number, written = match.groups()
    if written in _LEVELS:
        return _from_level(text, float(number), *_LEVELS[written])
    power, unit = _WRITTEN.get(written, (0, PLAIN))
    value = float(Decimal(number).scaleb(power))
    if math.isinf(value):
        raise ValueError(f"'{plain(text)}' is larger than any number that can be counted with")
    return Quantity(value + 0.0, unit)


def _from_level(text: str, decibels: float, per_decade: float, reference: float, unit: Unit) -> Quantity:
    if abs(decibels) > _MOST_DECIBELS:
        raise ValueError(f"'{plain(text)}' is further than 1000 dB from its reference")
    return Quantity(reference * 10.0 ** (decibels / per_decade), unit)


def _written_out(text: str, match: re.Match[str] | None) -> str:
    """What to write instead: the full form of 4k7 or 100n, else the unit that is most like the one given."""
    short = _PART_NOTATION.fullmatch(text)
    if short is not None and not (short[2] and short[4]):
        part = short[2] or short[4]
        number = f"{int(short[1])}.{part}" if part else short[1]
        prefix = {"R": "", "K": "k"}.get(short[3], short[3])
        if prefix in ("", "k", "M", "G"):
            return f"write it out: {number} {prefix}ohm"
        return f"write it out: {number} {prefix}F or {number} {prefix}H"
    if re.search(r"[0-9],[0-9]", text):
        return "write the decimal mark as a point, for example 4.7 kohm"
    if match is not None and match[2]:
        near = _near_unit(match[2])
        if near:
            return f"did you mean {' or '.join(f'{match[1]} {unit}' for unit in near)}?"
        return f"the unit '{plain(match[2], 20)}' is not known; write for example 4.7 kohm, 10 nF or 12 cm"
    return "write it out, for example 4.7 kohm or 10 nF"


def _near_unit(written: str) -> tuple[str, ...]:
    """The unit that was meant: of mv both mV and MV. None that another prefix alone makes: km is no m, 1000 times off.

    >>> _near_unit("kohms"), _near_unit("mhz"), _near_unit("km")
    (('kohm',), ('MHz', 'mHz'), ())
    """
    known = sorted({*_WRITTEN, *_LEVELS})
    exact = tuple(unit for unit in known if unit.lower() == written.lower())
    if exact:
        return exact
    near = nearest(written, known)
    if near is None or {near.lower(), near[1:].lower()} & {written.lower(), written[1:].lower()} - {""}:
        return ()
    return (near,)


def show(value: float, unit: Unit = PLAIN) -> str:
    """A value for people: engineering notation, three digits, the unit.

    >>> show(4700.0, OHM), show(2.2e-6, FARAD), show(0.0, OHM), show(-15.0, VOLT)
    ('4.7 kΩ', '2.2 µF', '0 Ω', '-15 V')
    >>> show(0.5e-6, SQUARE_METRE), show(10e-6, TESLA)
    ('0.5 mm²', '10 µT')
    >>> show(0.22, OHM), show(0.1, VOLT)
    ('0.22 Ω', '100 mV')
    >>> show(9e6, SLEW), show(float("inf"), OHM)
    ('9 V/µs', 'an open circuit')
    """
    if math.isnan(value):
        return "not a number"
    if math.isinf(value):
        if unit == OHM and value > 0:
            return "an open circuit"
        return "without limit" if value > 0 else "without lower limit"
    if unit == PLAIN:
        return _digits(value)
    if unit == SLEW:  # nobody writes 9 MV/s
        return f"{_digits(value / 1e6)} V/µs"
    if unit == SQUARE_METRE and abs(value) < 1e-3:
        return f"{_digits(value * 1e6)} mm²"
    if unit in _UNSCALED:
        return f"{_digits(value)} {_UNSCALED[unit]}"
    symbol = _SYMBOLS.get(unit)
    if symbol is None:
        return f"{_digits(value)} {unit.name}"
    if value == 0:
        return f"0 {symbol}"
    scaled = float(f"{value:.3g}")
    if not 1e-18 <= abs(scaled) < 1e15:
        return f"{scaled:.3g} {symbol}"
    power = min(3, max(-5, math.floor(math.log10(abs(scaled)) / 3 + 1e-12)))
    if unit == OHM and 0.01 <= abs(scaled) < 1:
        power = 0  # nobody writes 220 mΩ for an emitter resistor
    prefix = {-5: "f", -4: "p", -3: "n", -2: "µ", -1: "m", 0: "", 1: "k", 2: "M", 3: "G"}[power]
    return f"{_digits(scaled / 10.0 ** (3 * power))} {prefix}{symbol}"


def _digits(value: float) -> str:
    if value == int(value) and abs(value) < 1e6:
        return str(int(value))
    text = f"{value:.3g}"
    return f"{float(text):g}" if "e" in text and abs(value) < 1e6 and abs(value) >= 1e-4 else text
