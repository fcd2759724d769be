"""Curves over frequency, and the tables beside them."""

from __future__ import annotations

import dataclasses
import math
import re
from datetime import datetime

import pytest
import report_example as example
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.intake.assembly import Span, Targets
from netcheck.physics.behaviour import Behaviour, ControlEffect, Corner, DeviceHeat, LoadLevel, PathBehaviour, RestRow
from netcheck.report.display import Names
from netcheck.report.doings import MOST_PLOTTED, BoardDoings, doings
from netcheck.report.page import render_page
from netcheck.report.plots import HEIGHT, Axes, delay_plot, delay_spread, response_plot, strays_by, ticks, value_at
from netcheck.review import Review

LOW, HIGH = 50.0, 30e3  # corners of the path below, hertz
FREQUENCIES = tuple(10 ** (place * 6 / 399) for place in range(400))
TARGETS = Targets(passband=Span(20.0, 20e3, 0.5), group_delay=Span(40.0, 20e3, 0.002), noise=1e-5)


def path(number: int = 1) -> PathBehaviour:
    """20 dB between two RC corners: their magnitude, and their group delay (1 / w0) / (1 + (f / f0) squared)."""
    decibels = tuple(
        20 - 10 * math.log10(1 + (LOW / hertz) ** 2) - 10 * math.log10(1 + (hertz / HIGH) ** 2) for hertz in FREQUENCIES
    )
    delays = tuple(
        sum(1 / (2 * math.pi * corner) / (1 + (hertz / corner) ** 2) for corner in (LOW, HIGH)) for hertz in FREQUENCIES
    )
    return PathBehaviour(
        f"amp/net/VOL_L > amp/net/OUT_{number}", "amp", "amp/net/VOL_L", "amp/net/OUT_L",
        frequencies=FREQUENCIES, decibels=decibels, degrees=(0.0,) * 400, delays=delays, gain=20.0,
        corners=(Corner("low", 3.0, LOW, 1.0, ("amp/C12", "amp/R7"), (1.0, 1.0)), Corner("high", 3.0, HIGH, 1e6)),
        flatness=8.6, input_ohms=10e3, output_ohms=(47.0,) * 400, noise=5e-6, noise_weighted=4e-6,
        loudest=(("amp/R7", 0.6),),
        loads=(LoadLevel(math.inf, 9.0, 0.0, 0.0, "the output of U1A reaches its supply", 20.0),
               LoadLevel(32.0, 2.0, 0.088, 0.125, "U1A delivers no more current", 16.0)),
        controls=(ControlEffect("amp/R7", (-80.0, 0.0, 20.0)),),
    )  # fmt: skip


def with_numbers(targets: Targets | None = TARGETS, **more: object) -> Review:
    numbers = Behaviour("amp", **({"paths": (path(),)} | more))  # type: ignore[arg-type]
    return dataclasses.replace(example.review(), behaviour={"amp": numbers}, targets=targets)


def shown(review: Review) -> BoardDoings:
    (board,) = doings(review, Names(review.circuit))
    return board


@given(st.floats(1e-6, 1e6), st.floats(-1e3, 1e3))
@settings(max_examples=60, deadline=None)
def test_ticks_are_few_and_within(span: float, low: float) -> None:
    found = ticks(low, low + span)
    assert len(found) <= 8
    slack = 1e-6 * span + 1e-12 * abs(low)
    assert all(low - slack <= value <= low + span + slack for value in found)
    assert len(set(found)) == len(found)


def test_decades_are_equally_wide() -> None:
    axes = Axes(1.0, 1e6, 0.0, 10.0)
    steps = [axes.x(10.0 ** (n + 1)) - axes.x(10.0**n) for n in range(6)]
    assert all(step == pytest.approx(steps[0]) for step in steps)


def test_corner_stands_where_the_curve_is_3_db_down() -> None:
    svg = response_plot(path(), None, "Response", "p")
    x, y = re.search(r'<circle cx="(\S+)" cy="(\S+)" r="3" class="mark-dot"><title>-3 dB at 50 Hz', svg).groups()  # type: ignore[union-attr]
    points = [tuple(map(float, pair.split(","))) for pair in re.search(r'points="([^"]+)"', svg)[1].split()]  # type: ignore[index]
    nearest = min(points, key=lambda point: abs(point[0] - float(x)))
    assert nearest == pytest.approx((float(x), float(y)), abs=2.5)
    assert "-3 dB at 50 Hz" in svg and "-3 dB at 30 kHz" in svg


def test_what_is_wanted_is_shaded_only_where_it_is_told() -> None:
    assert 'class="wanted"' not in response_plot(path(), None, "Response", "p")
    assert 'class="wanted"' not in delay_plot(path(), Targets(), "Delay", "p")
    axes = Axes(1.0, 1e6, 0.0, 1.0)
    for svg in (response_plot(path(), TARGETS, "Response", "p"), delay_plot(path(), TARGETS, "Delay", "p")):
        x, y, width, height = map(
            float, re.search(r'<rect x="(\S+)" y="(\S+)" width="(\S+)" height="(\S+)" class="wanted"', svg).groups()  # type: ignore[union-attr]
        )  # fmt: skip
        assert x + width == pytest.approx(axes.x(20e3), abs=0.2)
        assert 0 < y < HEIGHT and height > 0


def test_points_tell_their_values() -> None:
    svg = response_plot(path(), None, "Response", "p")
    assert "<title>1 kHz: 19.98 dB</title>" in svg
    assert "<title>50 Hz: 16.99 dB</title>" in svg


def test_spreads_are_those_of_the_formula() -> None:
    found = delay_spread(path(), 40.0, 20e3)
    longest, least = (
        sum(1 / (2 * math.pi * corner) / (1 + (hertz / corner) ** 2) for corner in (LOW, HIGH))
        for hertz in (40.0, 20e3)
    )
    assert found == pytest.approx(longest - least, rel=1e-3)
    assert strays_by(path(), 20.0, 20e3) == pytest.approx(10 * math.log10(1 + 2.5**2), rel=1e-3)
    assert value_at(FREQUENCIES, path().decibels, LOW) == pytest.approx(20 - 10 * math.log10(2), abs=0.01)


def test_flat_curves_have_axes_too() -> None:
    flat = dataclasses.replace(path(), decibels=(0.0,) * 400, delays=(0.0,) * 400, gain=0.0, corners=())
    for svg in (response_plot(flat, None, "Response", "p"), delay_plot(flat, None, "Delay", "p")):
        assert "nan" not in svg and "inf" not in svg and svg.count("<polyline") == 1


def test_table_tells_each_number_with_what_it_is_held_against() -> None:
    (table,) = shown(with_numbers()).tables
    rows = {row[0]: row[1] for row in table.rows}
    assert rows["Gain at 1 kHz"] == "20.0 dB"
    assert rows["-3 dB, low end"] == "at 50 Hz, set by C12, R7"
    assert rows["-0.5 dB, low end"] == "not found"
    assert rows["Flat from 20 Hz to 20 kHz (wanted: within 0.5 dB)"] == "within 8.60 dB"
    assert rows["Spread of group delay, 40 Hz to 20 kHz (wanted: at most 2 ms)"].endswith("ms")
    assert rows["Noise, 20 Hz to 20 kHz, source at rest (wanted: at most 10 µV)"].startswith("5 µV")
    assert rows["Most into 32 Ω, controls fully open"] == "2 V rms, 88 mA peak, 125 mW: U1A delivers no more current"
    assert rows["R7: one end, middle of its track, other end"] == "-80.0, 0.0, 20.0 dB"


def test_channels_stand_side_by_side() -> None:
    (table,) = shown(with_numbers(paths=(path(1), path(2)))).tables
    assert len(table.heads) == 3 and all(len(row) == 3 for row in table.rows)


def test_what_is_not_computed_is_told_with_its_reason() -> None:
    silent = dataclasses.replace(path(), reasons=("what U7 is, is not known",))
    html = render_page(with_numbers(paths=(silent,), more_paths=3), datetime(2026, 7, 3))
    assert "is not computed: what U7 is, is not known" in html
    assert "3 further paths are not computed." in html
    board = shown(with_numbers(paths=(), volts=(RestRow("amp/net/OUT_L", "V", None, reason="J3 is open"),)))
    assert board.volts is not None and board.volts.rows == (("OUT_L", "not known: J3 is open"),)
    assert any("No way of a signal" in remark for remark in board.remarks)


def test_current_of_a_resistor_follows_from_its_heat() -> None:
    """0.1 W in 10 ohm is 100 mA; from 0.025 W to 0.4 W it is half and twice of that."""
    whole = with_numbers(heat=(RestRow("amp/R7", "W", 0.1, 0.025, 0.4),))
    parts = dict(whole.circuit.parts)
    parts["amp/R7"] = dataclasses.replace(
        parts["amp/R7"], value=dataclasses.replace(parts["amp/R7"].value, number=10.0)
    )
    whole = dataclasses.replace(whole, circuit=dataclasses.replace(whole.circuit, parts=parts))
    heat = shown(whole).heat
    assert heat is not None
    assert heat.rows[0][2:] == ("100 mW (25 mW to 400 mW)", "100 mA (50 mA to 200 mA)")


def test_heat_over_drive_stands_beside_the_rating() -> None:
    device = DeviceHeat("amp/Q1", (0.1, 0.05, 0.2), 1.5, 9.0, None, 32.0, 12.5)
    driven = shown(with_numbers(devices=(device,))).driven
    assert driven is not None
    row = ("Q1", "100 mW (50 mW to 200 mW)", "1.5 W into 32 Ω, at 9 V peak", "not computed", "12.5 W")
    row += ("not known", "not known")
    assert driven.rows == (row,)


def test_page_has_plots_within_bounds_and_says_what_to_do_first() -> None:
    paths = tuple(path(number) for number in range(MOST_PLOTTED + 4))
    html = render_page(with_numbers(paths=paths), datetime(2026, 7, 3))
    assert html.count('class="plot"') == 2 * MOST_PLOTTED
    assert "4 of the paths have no plot" in html
    assert "Measure on the bench, at low level and without phones first." in html
    assert " style=" not in html and "<script" not in html
    assert len(html.encode()) < 700_000
    ids = re.findall(r' id="([^"]+)"', html)
    assert len(ids) == len(set(ids))


def test_without_numbers_there_is_no_such_part() -> None:
    assert 'id="behaviour"' not in render_page(example.review(), datetime(2026, 7, 3))


def test_rails_have_volts_and_current() -> None:
    rows = (RestRow("amp/net/+15V", "A", 0.075, 0.045, 0.117), RestRow("amp/net/-15V", "A", None, reason="U7 is new"))
    rails = shown(with_numbers(rails=rows)).rails
    assert rails is not None
    assert rails.rows == (("+15V", "15 V", "75 mA (45 mA to 117 mA)"), ("-15V", "-15 V", "not known: U7 is new"))
