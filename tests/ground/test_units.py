"""Units: what may be written in a limit, and how values are shown."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.ground import units
from netcheck.ground.units import (
    AMPERE,
    CELSIUS,
    DECIBEL,
    DECIBEL_AT_MILLIWATT,
    DECIBEL_AT_VOLT,
    EURO,
    FARAD,
    HENRY,
    HERTZ,
    KELVIN,
    KELVIN_PER_WATT,
    METRE,
    OHM,
    PLAIN,
    SECOND,
    SIEMENS,
    SLEW,
    VOLT,
    VOLT_AMPERE,
    VOLTS_PER_ROOT_HERTZ,
    WATT,
    Unit,
    read_quantity,
    show,
)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("12 cm", 0.12, METRE),
        ("1.5 m", 1.5, METRE),
        ("30 VA", 30.0, VOLT_AMPERE),
        ("98 dB/mW", 98.0, DECIBEL_AT_MILLIWATT),
        ("112 dB/V", 112.0, DECIBEL_AT_VOLT),
        ("45 C", 45.0, CELSIUS),
        ("45 °C", 45.0, CELSIUS),
        ("30 K", 30.0, KELVIN),
        ("4 K/W", 4.0, KELVIN_PER_WATT),
        ("300 pF", 300e-12, FARAD),
        ("-100 dBV", 10e-6, VOLT),
        ("0 dBu", 0.7745966692414834, VOLT),
        ("20 dBm", 0.1, WATT),
        ("230 V", 230.0, VOLT),
        ("26 mV", 0.026, VOLT),
        ("2 ms", 0.002, SECOND),
        ("200 EUR", 200.0, EURO),
        ("0.5 dB", 0.5, DECIBEL),
        ("12 %", 0.12, PLAIN),
        ("25 ppm", 25e-6, PLAIN),
        ("45 deg", 45.0, PLAIN),
        ("3", 3.0, PLAIN),
        ("0.1 ohm", 0.1, OHM),
        ("4.7 kohm", 4700.0, OHM),
        ("4.7 kΩ", 4700.0, OHM),
        ("2.2 Mohm", 2.2e6, OHM),
        ("10 nF", 10e-9, FARAD),
        ("4.7 \u00b5F", 4.7e-6, FARAD),
        ("4.7 \u03bcF", 4.7e-6, FARAD),
        ("33 mH", 0.033, HENRY),
        ("100 kHz", 100e3, HERTZ),
        ("8 V/us", 8e6, SLEW),
        ("5 nV/rtHz", 5e-9, VOLTS_PER_ROOT_HERTZ),
        ("1.2 mS", 1.2e-3, SIEMENS),
        ("500mA", 0.5, AMPERE),
        ("+15 V", 15.0, VOLT),
        ("\u22123 dB", -3.0, DECIBEL),
        ("1e3 ohm", 1000.0, OHM),
        (".5 A", 0.5, AMPERE),
    ],
)
def test_a_quantity_written_out_is_read_in_base_units(text: str, value: float, unit: Unit) -> None:
    found = read_quantity(text)
    assert found.unit == unit
    assert found.value == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("4k7", "4.7 kohm"),
        ("10k", "10 kohm"),
        ("0R22", "0.22 ohm"),
        ("100n", "100 nF or 100 nH"),
        ("2.2u", "2.2 uF or 2.2 uH"),
        ("4.7 kOhm", "did you mean 4.7 kohm?"),
        ("12 db", "did you mean 12 dB?"),
        ("5 mv", "did you mean 5 MV or 5 mV?"),
        ("12000 km", "the unit 'km' is not known; write for example 4.7 kohm, 10 nF or 12 cm"),
        ("1,5 V", "decimal mark as a point"),
        ("five volts", "write it out"),
        ("", "write it out"),
        ("٣ V", "write it out"),
        ("1e999 V", "larger than any number"),
        ("99999 dBV", "further than 1000 dB"),
        ("1" * 100_000 + " V", "too long"),
    ],
)
def test_what_is_no_quantity_is_refused_with_the_way_to_write_it(text: str, says: str) -> None:
    with pytest.raises(ValueError, match="'") as caught:
        read_quantity(text)
    assert says in str(caught.value)
    assert len(str(caught.value)) < 300


def test_temperatures_and_their_differences_do_not_mix() -> None:
    assert CELSIUS != KELVIN
    assert KELVIN_PER_WATT * WATT == KELVIN
    assert DECIBEL_AT_MILLIWATT * WATT != DECIBEL


def test_units_multiply_as_physics_has_it() -> None:
    assert OHM * FARAD == SECOND
    assert HENRY / OHM == SECOND
    assert OHM * AMPERE * AMPERE == WATT
    assert PLAIN / (OHM * FARAD) == HERTZ
    assert (VOLT * VOLT).to(units.Fraction(1, 2)) == VOLT


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        (999.4, OHM, "999 Ω"),
        (999.6, OHM, "1 kΩ"),
        (-999.6, VOLT, "-1 kV"),
        (0.99951e-6, FARAD, "1 µF"),
        (0.0, OHM, "0 Ω"),
        (-0.0, VOLT, "0 V"),
        (1e-21, FARAD, "1e-21 F"),
        (2.5e-15, FARAD, "2.5 fF"),
        (1e12, OHM, "1000 GΩ"),
        (1e15, OHM, "1e+15 Ω"),
        (1e300, OHM, "1e+300 Ω"),
        (math.inf, OHM, "an open circuit"),
        (math.inf, VOLT, "without limit"),
        (-math.inf, VOLT, "without lower limit"),
        (math.nan, VOLT, "not a number"),
        (45.0, CELSIUS, "45 °C"),
        (98.0, DECIBEL_AT_MILLIWATT, "98 dB/mW"),
        (30.0, VOLT_AMPERE, "30 VA"),
        (0.12, METRE, "120 mm"),
        (1500.0, KELVIN, "1500 K"),
        (3.0, PLAIN, "3"),
        (1 / 3, PLAIN, "0.333"),
        (2.0, VOLT * VOLT, "2 V^2"),
    ],
)
def test_values_are_shown_for_people(value: float, unit: Unit, shown: str) -> None:
    assert show(value, unit) == shown


@given(st.floats(allow_nan=True, allow_infinity=True), st.sampled_from([OHM, PLAIN, EURO, VOLT * OHM, CELSIUS]))
@settings(max_examples=150)
def test_every_number_can_be_shown(value: float, unit: Unit) -> None:
    shown = show(value, unit)
    assert shown and len(shown) < 60


@given(st.floats(min_value=1e-12, max_value=1e9), st.sampled_from([VOLT, AMPERE, FARAD, OHM, HERTZ]))
@settings(max_examples=150)
def test_what_is_shown_reads_back_to_three_digits(value: float, unit: Unit) -> None:
    back = read_quantity(show(value, unit))
    assert back.unit == unit
    assert back.value == pytest.approx(value, rel=0.0051)


@given(st.text(max_size=30))
@settings(max_examples=200)
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    try:
        found = read_quantity(text)
    except ValueError as error:
        assert len(str(error)) > 20
    else:
        assert math.isfinite(found.value)
