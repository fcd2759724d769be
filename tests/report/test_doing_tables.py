"""Tables of what the circuit will do: ends over tolerances, loads, supplies, temperatures, channels, ratings."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

from test_plots import path, shown, with_numbers

from netcheck.physics.behaviour import ChannelRow, Corner, DeviceHeat, RatingRow, SupplyRow, Variant
from netcheck.report.display import Names
from netcheck.report.doings import least_ratings
from netcheck.report.figures import ratings_text
from netcheck.report.page import render_page


def test_ends_over_tolerances_stand_with_gain_and_corners_and_in_the_plot() -> None:
    spread = tuple(1.5 if hertz < 100 else 0.0 for hertz in path().frequencies)
    corner = Corner("low", 3.0, 50.0, 1.0, ("amp/C12",), (1.0,), 40.0, 62.0)
    loose = replace(path(), gain_off=0.6, spread=spread, corners=(corner,), loosest=(("amp/R7", 0.4),))
    board = shown(with_numbers(paths=(loose,)))
    rows = {row[0]: row[1] for row in board.tables[0].rows}
    assert rows["Gain at 1 kHz"] == "20.0 dB ± 0.6 dB"
    assert rows["-3 dB, low end"] == "at 50 Hz (40 Hz to 62 Hz), set by C12"
    assert "at worst" in rows["Flat from 20 Hz to 20 kHz (wanted: within 0.5 dB)"]
    assert rows["What moves the gain most"] == "R7 0.40 dB"
    assert "end-curve" in board.plots[0].response and "Thin lines" in board.plots[0].response
    assert "end-curve" not in shown(with_numbers()).plots[0].response


def test_loads_and_controls_stand_in_a_table_of_their_own() -> None:
    variants = (
        Variant(math.inf, "", 0.5, 20.0, 5.0, None),
        Variant(32.0, "", 0.5, 19.5, 50.0, 80e3),
        Variant(math.inf, "amp/R7", 0.0, -90.0, None, None),
        Variant(32.0, "amp/R7", 0.0, -91.0, None, None),
    )
    ((_, table),) = shown(with_numbers(paths=(replace(path(), variants=variants),))).varied
    assert table.heads == ("", "without load", "into 32 Ω")
    assert table.rows[0] == ("As it stands", "20.0 dB, -3 dB from 5 Hz", "19.5 dB, -3 dB from 50 Hz to 80 kHz")
    assert table.rows[1] == ("R7 at its first end", "-90 dB", "-91 dB")


def test_temperatures_or_why_not() -> None:
    warm = DeviceHeat("amp/Q1", (0.1, 0.05, 0.2), 1.5, 9.0, None, 32.0, 12.5, (41.0, 63.0), "", 21.0, 0.2)
    table = shown(with_numbers(devices=(warm,))).driven
    assert table is not None and table.rows[0][5:] == ("41 °C to 63 °C", "21 V, 200 mA")
    blind = replace(warm, celsius=(None, None), cooling="no heatsink is stated for Q1")
    table = shown(with_numbers(devices=(blind,))).driven
    assert table is not None and table.rows[0][5] == "not known: no heatsink is stated for Q1"


def test_supplies_with_what_they_have_to_spare() -> None:
    row = SupplyRow("amp/net/+15V", "amp/U1", "made by U1", (14.3, 15.0, 15.8), (0.01, 0.02, 0.3), 0.0, None, 1.2, 2.5)
    table = shown(with_numbers(supplies=(row,))).supplies
    assert table is not None
    assert table.rows[0][1:] == (
        "made by U1", "15 V (14.3 V to 15.8 V)", "20 mA (10 mA to 300 mA)", "0 V", "1.2 V", "2.5 W",
    )  # fmt: skip
    table = shown(with_numbers(supplies=(replace(row, amps=None, reason="U9 has no current"),))).supplies
    assert table is not None and table.rows[0][3] == "not known: U9 has no current"


def test_ratings_to_buy_are_one_list() -> None:
    review = replace(with_numbers(), ratings=(RatingRow("capacitor", "100u", ("amp/C12", "amp/R7"), 25.0),))
    table = least_ratings(review, Names(review.circuit, "amp"))
    assert table is not None and table.rows == (("C12, R7", "capacitor 100u", "25 V"),)
    told = ratings_text(review.ratings, review.circuit)
    assert "C12" in told and told.endswith("(capacitor 100u): 25 V") and ratings_text((), review.circuit) == ""
    assert "Ratings to buy" in render_page(review, datetime(2026, 1, 1, tzinfo=UTC))


def test_channels_side_by_side() -> None:
    row = ChannelRow(("amp/C12",), ("amp/Q1",), "the names L and R", (("amp/C12", "amp/Q1"),), ("amp/R7",))
    table = shown(with_numbers(channels=(row,))).channels
    assert table is not None
    left, right, told, values, alone = table.rows[0]
    assert (left, right, told, alone) == ("C12", "Q1", "the names L and R", "R7") and "C12" in values and "Q1" in values
