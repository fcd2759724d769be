"""Part values: what is read, what stays in doubt, and that nothing is read wrong."""

from __future__ import annotations

import math
import time
from pathlib import Path

import pytest
import yaml
from hypothesis import example, given, settings
from hypothesis import strategies as st

from netcheck.circuit.model import KINDS
from netcheck.ground.quantities import MEASURED, read_part_value

CODES = Path(__file__).parents[3] / "shared" / "reference" / "component_codes.yaml"

# Source: IEC 60062 as described in secondary sources; status as named: read for R47, 4R7, 470R, 4K7, 47K, 47K3 and
# 470K, from memory for the others. Three-digit codes: EIA, common practice; third digit 9 from memory.
RESISTORS = {
    "R47": 0.47, "0R22": 0.22, "1R0": 1.0, "4R7": 4.7, "10R": 10, "470R": 470, "1K0": 1e3, "4K7": 4.7e3, "4k7": 4.7e3,
    "47K": 47e3, "47K3": 47.3e3, "470K": 470e3, "1M0": 1e6, "4M7": 4.7e6, "M47": 470e3, "K47": 470, "2L2": 2.2e-3,
}  # fmt: skip
CAPACITORS = {
    "47p": 47e-12, "4p7": 4.7e-12, "2n2": 2.2e-9, "100n": 100e-9, "n47": 0.47e-9, "4u7": 4.7e-6, "u47": 0.47e-6,
    "100u": 100e-6, "1m0": 1e-3, "104": 100e-9, "473": 47e-9, "222": 2.2e-9, "101": 100e-12, "109": 1e-12,
}  # fmt: skip

READ_RESISTORS = RESISTORS | {
    "0": 0, "0R": 0, "100": 100, "470": 470, "82.5": 82.5, ".05": 0.05, "0,1": 0.1, "4700": 4700, "294": 294,
    "1L0": 1e-3, "1E": 1, "0E22": 0.22, "47r": 47, "1.8K": 1.8e3, "2M7": 2.7e6, "1M": 1e6, "1Meg": 1e6, "10MEG": 10e6,
    "1G": 1e9, "2,7K": 2.7e3, "10k05": 10.05e3, "R005": 0.005, "0R005": 0.005, "5m\u2126": 5e-3, "10\u2126": 10,
    "10 \u03a9": 10, "10 ohm": 10, "10kOhm": 10e3, "10 k ohm": 10e3, "4.7 K": 4.7e3, "１０ｋ": 10e3, "10㏀": 10e3,
    "1k Tempco": 1e3, "4k7 MELF": 4.7e3, "10k (SEND_LEVEL)": 10e3, "10k 0805": 10e3, "10k Überbrückung": 10e3,
}  # fmt: skip
READ_CAPACITORS = CAPACITORS | {
    "470\u00b5": 470e-6, "470\u03bc": 470e-6, "\u00b547": 0.47e-6, "4\u00b57": 4.7e-6, "4700MFD": 4.7e-3, "1MFD": 1e-6,
    ".1uf": 0.1e-6, "1uf t": 1e-6, "10m": 10e-3, "1mF": 1e-3, "0.1uF (AUDIO)": 0.1e-6, "4,7uF": 4.7e-6, "474": 0.47e-6,
    "100N": 100e-9, "10UF": 10e-6, "100 nF": 100e-9, "10 u F": 10e-6, "0,047uF": 47e-9, "0.047uF": 47e-9, "1F": 1.0,
    "10000uF": 10e-3, "10㎌": 10e-6, "226": 22e-6, "10uF bipolar": 10e-6, "100n MKS2": 100e-9, "10uF 105C 5x11": 10e-6,
    "100nF X2 275VAC": 100e-9, "10 NF": 10e-9,
}  # fmt: skip
READ_INDUCTORS = {
    "0,7uH": 0.7e-6, "10uH": 10e-6, "10uh": 10e-6, "680m": 0.68, "15n": 15e-9, "4u7": 4.7e-6, "1H": 1.0, "2m2": 2.2e-3,
    "10mH": 10e-3, "33uH 3A radial": 33e-6,
}  # fmt: skip


PIECES = [*"01472 .,kKMmuµnpREFHVWA%/()_-±", "47", "100", "DNP", "log", "X7R"]


def cases(kind: str, table: dict[str, float]) -> list[tuple[str, str, float]]:
    return [(kind, text, number) for text, number in table.items()]


@pytest.mark.parametrize(
    ("kind", "text", "number"),
    cases("resistor", READ_RESISTORS)
    + cases("capacitor", READ_CAPACITORS)
    + cases("inductor", READ_INDUCTORS)
    + [("thermistor", "10k@25C", 10e3), ("thermistor", "10k B3950", 10e3), ("resistor network", "4x10k", 10e3)]
    + [("potentiometer", "500", 500.0), ("loudspeaker", "8 ohm", 8.0), ("link", "0R", 0.0)],
)
def test_a_value_is_read(kind: str, text: str, number: float) -> None:
    found = read_part_value(text, kind)
    assert found.number == pytest.approx(number, rel=1e-12)
    assert found.doubt is None
    assert found.text == text


@pytest.mark.skipif(not CODES.exists(), reason="the table of codes beside the repository is absent")
def test_the_table_of_codes_is_read_as_it_says() -> None:
    codes = yaml.safe_load(CODES.read_text(encoding="utf-8"))["rkm"]
    ohms, farads = codes["resistors"], codes["capacitors_farad"]
    printed = {code: 1e-12 * value for code, value in codes["three_digit_capacitor_code_pf"].items()}
    assert len(ohms) > 10 and len(farads) > 5 and len(printed) > 3
    for kind, table in (("resistor", ohms), ("capacitor", farads), ("capacitor", printed)):
        for text, number in table.items():
            assert read_part_value(text, kind).number == pytest.approx(number, rel=1e-12), text


@pytest.mark.parametrize(
    ("kind", "text", "says"),
    [
        ("resistor", "3.3m", "milliohm or megohm"),
        ("resistor", "1m", "milliohm or megohm"),
        ("resistor", "10mohm", "milliohm or megohm"),
        ("resistor", "100 m", "milliohm or megohm"),
        ("resistor", "10uF", "a capacitance, not a resistance"),
        ("resistor", "1E3", "1.3 ohm or 1 with 3 zeros"),
        ("resistor", "4E7", "4.7 ohm or 4 with 7 zeros"),
        ("resistor", "332", "332 ohm or the code of 3300 ohm"),
        ("resistor", "1002", "1002 ohm or the code of 10000 ohm"),
        ("resistor", "R330", "0.330 ohm or 330 ohm"),
        ("resistor", "R1", "the name of a part"),
        ("resistor", "1,000", "mark between thousands"),
        ("resistor", "10.000k", "mark between thousands"),
        ("resistor", "10k//22k", "more than one number"),
        ("resistor", "10k||22k", "holds '|'"),
        ("resistor", "1k_100k", "more than one number"),
        ("resistor", "10k or 22k", "more than one number"),
        ("resistor", "1 000", "more than one number"),
        ("resistor", "4 k 7", "more than one number"),
        ("resistor", "10k (22k)", "a further number in brackets"),
        ("resistor", "10k (R12)", "a further number in brackets"),
        ("resistor", "(10k)", "a further number in brackets"),
        ("resistor", "10k (optional)", "'optional' in brackets"),
        ("resistor", "40to60", "is not a number"),
        ("resistor", "BYPASS_OPTION", "is not a number"),
        ("resistor", "Fuse", "is not a number"),
        ("resistor", "R", "is not a number"),
        ("resistor", "TBD", "the value 'TBD' is not a number"),
        ("resistor", "LDR", "is not a number"),
        ("resistor", "5V", "is not a number"),
        ("resistor", "TL072", "is not a number"),
        ("resistor", "NE5532", "is not a number"),
        ("resistor", "10k NE5532", "is not a number"),
        ("resistor", "RC0201FR-0710KL", "is not a number"),
        ("resistor", "2N3904", "is not a number"),
        ("resistor", "0805", "nought that has no use"),
        ("resistor", "10k?", "holds '?'"),
        ("resistor", "10k*", "holds '*'"),
        ("resistor", "2x10k", "is not a number"),
        ("resistor", "${R}", "holds '$'"),
        ("resistor", "10k -5k", "more than one number"),
        ("resistor", "-10k", "begins or ends in the middle"),
        ("resistor", "47-", "begins or ends in the middle"),
        ("resistor", "/100", "begins or ends in the middle"),
        ("resistor", ",1k", "begins or ends in the middle"),
        ("resistor", "POT ,1k", "a sign or a comma before a figure"),
        ("resistor", "10²", "raised, lowered or circled"),
        ("resistor", "10k)", "a bracket without its partner"),
        ("resistor", "10 kilo", "'kilo' beside the number"),
        ("resistor", "10 thousand", "'thousand' beside the number"),
        ("resistor", "10 кОм", "which is not understood"),
        ("resistor", "10\u200bk", "is not a number"),
        ("resistor", "NP_3k3", "may say that the part is left out"),
        ("resistor", "NP_47", "may say that the part is left out"),
        ("resistor", "1 1/2W", "in more watts"),
        ("resistor", "1/4W", "is not a number"),
        ("resistor", "~", "no value is given"),
        ("resistor", "", "no value is given"),
        ("capacitor", "470", "470 pF or the code of 47 pF"),
        ("capacitor", "100", "100 pF or the code of 10 pF"),
        ("capacitor", "47", "has no unit"),
        ("capacitor", "47/25V", "has no unit"),
        ("capacitor", "0.1", "has no unit"),
        ("capacitor", "444", "has no unit"),
        ("capacitor", "1MF", "microfarad or millifarad"),
        ("capacitor", "1M", "microfarad or millifarad"),
        ("capacitor", "10mf", "microfarad or millifarad"),
        ("capacitor", "1,000uF", "mark between thousands"),
        ("capacitor", "2.200uF", "mark between thousands"),
        ("capacitor", "10uF NP", "may say that the part is left out"),
        ("capacitor", "10k", "a resistance, not a capacitance"),
        ("capacitor", "10uH", "an inductance, not a capacitance"),
        ("capacitor", "0pF", "is nought"),
        ("capacitor", "TL072", "is not a number"),
        ("capacitor", "2N7002", "is not a number"),
        ("capacitor", "CL03A104KO3NNNC", "is not a number"),
        ("capacitor", "C", "is not a number"),
        ("capacitor", "2x100n", "is not a number"),
        ("inductor", "10uF", "a capacitance, not an inductance"),
        ("inductor", "4R7", "a resistance, not an inductance"),
        ("inductor", "1k@100MHz", "holds '@'"),
        ("inductor", "10MH", "microhenry or millihenry"),
        ("inductor", "100", "has no unit"),
        ("inductor", "FXL0530-4R7-M", "is not a number"),
        ("potentiometer", "10kM", "is not a number"),
        ("potentiometer", "B500", "is not a number"),
    ],
)
def test_what_may_mean_two_things_stays_in_doubt(kind: str, text: str, says: str) -> None:
    found = read_part_value(text, kind)
    assert found.number is None
    assert found.doubt is not None and says in found.doubt


@pytest.mark.parametrize(
    ("kind", "text", "attribute", "stated"),
    [
        ("capacitor", "47uF/25V", "rated_volts", 25.0),
        ("capacitor", "220uF_35V", "rated_volts", 35.0),
        ("capacitor", "820u,100V", "rated_volts", 100.0),
        ("capacitor", "10u 6V3", "rated_volts", 6.3),
        ("capacitor", "10n 1kV", "rated_volts", 1000.0),
        ("capacitor", "100n (63V)", "rated_volts", 63.0),
        ("capacitor", "100nF 275VAC", "rated_volts", 275.0),
        ("capacitor", "100nF 16V 25V", "rated_volts", None),
        ("capacitor", "47/25V", "rated_volts", 25.0),
        ("resistor", "10R 2W", "rated_watts", 2.0),
        ("resistor", "4,7/1W", "rated_watts", 1.0),
        ("resistor", "10/5W", "rated_watts", 5.0),
        ("resistor", "10 1W", "rated_watts", 1.0),
        ("resistor", "10k 1/4W", "rated_watts", 0.25),
        ("resistor", "10k ½W", "rated_watts", 0.5),
        ("resistor", "33R/250mW", "rated_watts", 0.25),
        ("inductor", "220uH/300mA", "rated_amps", 0.3),
        ("fuse", "500mA", "rated_amps", 0.5),
        ("fuse", "T500mA", "rated_amps", 0.5),
        ("fuse", "T3,15A", "rated_amps", 3.15),
        ("fuse", "T2AL250V", "rated_amps", 2.0),
        ("fuse", "T2AL250V", "rated_volts", 250.0),
        ("fuse", "1A", "rated_amps", 1.0),
        ("fuse", "RUEF300 3A/6A radial", "rated_amps", None),
        ("zener", "5V1", "rated_volts", 5.1),
        ("zener", "5v1", "rated_volts", 5.1),
        ("bridge", "400V/25A", "rated_amps", 25.0),
        ("bridge", "B80C3700-2200A", "rated_amps", None),
        ("led", "20mA", "rated_amps", None),
        ("connector", "5V", "rated_volts", None),
        ("resistor", "2k2 1%", "tolerance", 0.01),
        ("resistor", "10k ±5%", "tolerance", 0.05),
        ("resistor", "10k +/-5%", "tolerance", 0.05),
        ("resistor", "4k7J", "tolerance", 0.05),
        ("resistor", "49k9F", "tolerance", 0.01),
        ("resistor", "10K", "tolerance", None),
        ("capacitor", "104K", "tolerance", 0.1),
        ("capacitor", "100nJ", "tolerance", 0.05),
        ("capacitor", "100nF", "tolerance", None),
        ("capacitor", "FXL0530-4R7-M", "tolerance", None),
        ("capacitor", "4.7uF 25V X7R", "dielectric", "X7R"),
        ("capacitor", "22p NP0", "dielectric", "C0G"),
        ("capacitor", "22p COG", "dielectric", "C0G"),
        ("capacitor", "100n MKP", "dielectric", "film"),
        ("capacitor", "100n polyester", "dielectric", "film"),
        ("capacitor", "1u/60V/solid_tantalum", "dielectric", "tantalum"),
        ("capacitor", "elko", "dielectric", "electrolytic"),
        ("capacitor", "100n film or X7R", "dielectric", None),
        ("resistor", "10k film", "dielectric", None),
        ("potentiometer", "100k log", "taper", "log"),
        ("potentiometer", "10K linear (gain)", "taper", "linear"),
        ("potentiometer", "10k rev log", "taper", "antilog"),
        ("potentiometer", "10k antilog", "taper", "antilog"),
        ("potentiometer", "B10K", "taper", "letter B"),
        ("potentiometer", "1MA", "taper", "letter A"),
        ("potentiometer", "10k C", "taper", "letter C"),
        ("potentiometer", "A100K log", "taper", "log"),
        ("potentiometer", "10k", "taper", None),
        ("potentiometer", "10k lin log", "taper", None),
    ],
)
def test_what_is_stated_beside_the_number(kind: str, text: str, attribute: str, stated: object) -> None:
    found = getattr(read_part_value(text, kind), attribute)
    assert found == (pytest.approx(stated, rel=1e-12) if isinstance(stated, float) else stated)


@pytest.mark.parametrize(
    ("kind", "text", "left_out"),
    [
        ("resistor", "DNP", True),
        ("resistor", "10k DNP", True),
        ("resistor", "10k (DNP)", True),
        ("resistor", "10k d.n.p.", True),
        ("resistor", "not fitted", True),
        ("capacitor", "not mounted", True),
        ("capacitor", "10uF, do not populate", True),
        ("capacitor", "NF", True),
        ("capacitor", "10 NF", False),
        ("capacitor", "10NF", False),
        ("resistor", "DNP?", False),
        ("resistor", "DNP for mono", False),
        ("resistor", "10k NC", False),
        ("opamp", "DNP", True),
        ("opamp", "NE5532", False),
        ("switch", "NC", False),
        ("resistor", "10k", False),
    ],
)
def test_parts_that_are_left_out(kind: str, text: str, left_out: bool) -> None:
    found = read_part_value(text, kind)
    assert found.not_fitted is left_out
    if left_out:
        assert found.doubt is None


def test_left_out_on_a_condition_is_a_doubt_not_a_part_that_is_there() -> None:
    found = read_part_value("10k DNP for mono", "resistor")
    assert found.number is None
    assert found.doubt == "the value '10k DNP for mono' says that the part may be left out"


@pytest.mark.parametrize("kind", sorted(KINDS - MEASURED.keys()))
def test_kinds_without_a_number_have_neither_number_nor_doubt(kind: str) -> None:
    for text in ("NE5532", "TL072", "1N4148", "1k@100MHz", "", "10u"):
        found = read_part_value(text, kind)
        assert (found.number, found.doubt) == (None, None)


def test_every_kind_that_is_measured_is_a_kind() -> None:
    assert MEASURED.keys() <= KINDS


def test_a_text_of_any_length_costs_little() -> None:
    texts = ["1" * 199, "(" * 199, "1/" * 99, "10k " * 49, "k" * 199, "1," * 99, ". " * 99, "9" * 100_000, "not " * 49]
    begin = time.perf_counter()
    for text in texts:
        for kind in ("resistor", "capacitor", "fuse"):
            assert read_part_value(text, kind).number is None
    assert time.perf_counter() - begin < 1.0
    assert read_part_value("9" * 100_000, "resistor").doubt == "the value has more than 200 letters"


@given(st.text(max_size=40), st.sampled_from(sorted(KINDS)))
@settings(max_examples=300)
@example("\ud800", "resistor")
@example("½", "resistor")
def test_any_text_gives_a_number_or_a_doubt(text: str, kind: str) -> None:
    check(text, kind)


@given(
    st.lists(st.sampled_from(PIECES)).map("".join).filter(lambda text: len(text) < 60),
    st.sampled_from(sorted(MEASURED)),
)
@settings(max_examples=400)
def test_any_heap_of_pieces_gives_a_number_or_a_doubt(text: str, kind: str) -> None:
    check(text, kind)


def check(text: str, kind: str) -> None:
    found = read_part_value(text, kind)
    assert found.text == text
    assert found.number is None or found.doubt is None
    if kind in MEASURED and not found.not_fitted:
        assert (found.number is None) == (found.doubt is not None)
    for number in (found.number, found.rated_volts, found.rated_watts, found.rated_amps, found.tolerance):
        assert number is None or (math.isfinite(number) and number >= 0)


@given(st.integers(1, 9), st.integers(0, 9), st.sampled_from([("k", 1e3), ("M", 1e6)]))
def test_one_resistance_in_many_notations(whole: int, tenth: int, scale: tuple[str, float]) -> None:
    letter, factor = scale
    expected = float(f"{whole}.{tenth}") * factor
    for text in (
        f"{whole}{letter}{tenth}",
        f"{whole}.{tenth}{letter}",
        f"{whole},{tenth}{letter}",
        f"{whole}.{tenth} {letter}",
        f"{whole}.{tenth}{letter}Ω",
        f"{whole}.{tenth} {letter}ohm",
        f"{whole}{letter}{tenth} 1%",
        f"{whole}{letter}{tenth}/2W",
        f"  {whole}{letter}{tenth}  ",
    ):
        assert read_part_value(text, "resistor").number == pytest.approx(expected, rel=1e-12), text


@given(st.integers(1, 999), st.sampled_from([("p", 1e-12), ("n", 1e-9), ("u", 1e-6), ("µ", 1e-6), ("μ", 1e-6)]))
def test_one_capacitance_in_many_notations(number: int, scale: tuple[str, float]) -> None:
    letter, factor = scale
    for text in (
        f"{number}{letter}",
        f"{number}{letter}F",
        f"{number} {letter}F",
        f"{number}{letter}f",
        f"{number}.0{letter}",
        f"{number}{letter}0",
        f"{number}{letter}/63V",
        f"{number}{letter} 63V film",
        f"{number}{letter}F,63V",
    ):
        assert read_part_value(text, "capacitor").number == pytest.approx(number * factor, rel=1e-12), text


@given(st.sampled_from((10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)), st.integers(1, 7))
def test_a_printed_code_and_its_value_written_out_agree(first: int, noughts: int) -> None:
    picofarad = first * 10**noughts
    assert read_part_value(f"{first}{noughts}", "capacitor").number == pytest.approx(picofarad * 1e-12, rel=1e-12)
