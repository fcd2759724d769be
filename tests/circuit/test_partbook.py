"""The part book: what it holds, what texts it knows, what it refuses."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.circuit.model import KINDS, PIN_ROLES, Record
from netcheck.circuit.partbook import FIELDS, WORDS, PartBook, load_part_book, pinout_for
from netcheck.ground.problems import Refused

ROOT = Path(__file__).resolve().parents[2]
REFERENCE = ROOT.parent / "shared" / "reference"


@pytest.fixture(scope="module")
def book() -> PartBook:
    return load_part_book(ROOT / "rules" / "parts")


def figure(record: Record | None, name: str) -> tuple[float | None, float | None]:
    assert record is not None
    found = record.figures[name]
    return found.low, found.high


SPELLINGS = {
    "NE5532P": "NE5532", "NJM5532DD": "NE5532", "NE 5532": "NE5532", "NE5534AP": "NE5534", "OPA2134UA": "OPA2134",
    "TL072CDR": "TL072", "TL072IDRG4": "TL072", "TL072HIDR": "TL072H", "Amplifier_Operational:TL072": "TL072",
    "uA741CN": "LM741", "µA741": "LM741", "LM358DR2G": "LM358", "863-LM358DR2G": "LM358", "LM386N-1": "LM386",
    "LM3886TF": "LM3886", "LM13700N": "LM13700", "THAT 1510": "THAT1510", "LME49720NA/NOPB": "LME49720",
    "MC7915CT": "7915", "L7805": "7805", "L7805CV": "7805", "LM7815_TO220": "7815", "7812": "7812", "uA7805": "7805",
    "LM340T-12": "7812", "78L05": "78L05", "MC78L12ACP": "78L12", "L79L12_SOT89": "79L12", "LM78M09CT": "78M09",
    "LM317_3PinPackage": "LM317", "LM317T": "LM317", "LM317LZ": "LM317L", "LM337_TO220": "LM337",
    "AMS1117-3.3": "AMS1117-3.3", "LM1117T-5.0": "LM1117T-5.0", "LP2950CZ-3.3": "LP2950-3.3",
    "2N3904BU": "2N3904", "BC547B": "BC547", "BC337-40": "BC337", "MMBT3904LT1G": "MMBT3904", "BD139-16": "BD139",
    "TIP41C": "TIP41C", "2SC5200-O": "2SC5200", "MJL3281AG": "MJL3281A", "IRF540NPBF": "IRF540", "BS250P": "BS250",
    "BSS138LT1G": "BSS138", "2N7000 (TO-92 S-G-D)": "2N7000", "MMBFJ112": "J112",
    "1N4148W": "1N4148", "1N4148W-7-F": "1N4148", "1n4007": "1N4007", "UF4007": "UF4007", "1N5819WS": "1N5819",
    "BZX55C5V1": "BZX55C5V1", "BZX84-C12": "BZX84-C12", "1N4733A": "1N4733",
    "CD4017BE": "CD4017", "74HC595N": "74HC595", "ATMEGA328P-PU": "ATMEGA328", "PIC16F877A": "PIC16F877",
    "ESP32-S3-WROOM-1": "ESP32", "PC817B": "PC817", "GBU4J": "GBU4J", "B80C3700-2200A": "B80C3700",
}  # fmt: skip

TRAPS = [
    "TL0720", "XTL072", "R1N4148", "2N39040", "BC5478", "100", "10k", "4k7", "100n", "4148", "741", "4558", "7838",
    "7800", "79", "LM3", "LM", "J1", "1N", "HC49", "M1", "W1", "S1A", "555", "3904", "NE", "", "~", "?", "TBD", "D",
    "Q_NPN_EBC", "D_Zener", "LED", "Opamp_Dual_Generic", "Conn_01x04", "TCRT5000 (PC817 base symbol)", "1N4148x2x{}",
    "R-RESCUE-amp", "78L62", "BZX55C5V2", "CRCW0805137KFKEA", "C14663", "RC0805FR-071KL", "DNP", "100u 25V", "B10K",
]  # fmt: skip


def test_spellings_of_real_netlists_are_known(book: PartBook) -> None:
    wrong = {text: found.name if (found := book.find([text])) else None for text in SPELLINGS}
    assert wrong == SPELLINGS


@pytest.mark.parametrize("text", TRAPS)
def test_what_only_looks_like_a_type_is_not_taken_for_one(book: PartBook, text: str) -> None:
    assert book.find([text]) is None


def test_the_first_name_with_a_known_type_decides(book: PartBook) -> None:
    found = book.find(["10k", "OPA2134", "TL072"])
    assert found is not None and found.name == "OPA2134"


@given(st.text(max_size=300))
@settings(max_examples=150, deadline=None)
def test_no_text_upsets_the_search(text: str) -> None:
    found = load_part_book_once().find([text])
    assert found is None or found.kind in KINDS


@given(st.sampled_from(sorted(SPELLINGS)), st.sampled_from("0123456789"))
@settings(max_examples=60, deadline=None)
def test_a_digit_more_at_the_end_of_a_type_is_another_type(text: str, digit: str) -> None:
    name = SPELLINGS[text]
    if name[-1].isdigit() and "{" not in name and not re.search(r"[V.]\d$|^(74|CD4|HC|ATMEGA|PIC|1117)", name):
        found = load_part_book_once().find([name + digit])
        assert found is None or found.name != name


_BOOKS: list[PartBook] = []


def load_part_book_once() -> PartBook:
    if not _BOOKS:
        _BOOKS.append(load_part_book(ROOT / "rules" / "parts"))
    return _BOOKS[0]


def test_every_record_keeps_to_the_vocabulary(book: PartBook) -> None:
    assert len(book.records) > 350
    for record in (*book.records, *(generic for _, _, generic in book.generics)):
        assert record.kind in KINDS, record.name
        assert record.status, record.name
        assert record.source or record.generic, record.name
        for name, found in record.figures.items():
            unit, _ = FIELDS[name]
            assert found.status in ("read", "memory", "common practice"), (record.name, name)
            assert found.source or found.status == "common practice", (record.name, name)
            if unit is None:
                assert found.word in WORDS[name]
            else:
                assert found.low is not None and found.high is not None and found.low <= found.high
        for pins in record.pinouts.values():
            assert all(role in PIN_ROLES for role, _ in pins.values())


def test_every_word_field_has_its_closed_list() -> None:
    assert {name for name, (unit, _) in FIELDS.items() if unit is None} == set(WORDS)


def test_limits_of_one_record_are_in_order(book: PartBook) -> None:
    pairs = [
        ("gain_least", "gain_most"),
        ("supply_total_least", "supply_total_most"),
        ("supply_total_recommended_most", "supply_total_most"),
        ("bias_current", "bias_current_most"),
        ("offset_volts", "offset_volts_most"),
        ("collector_current_most", "collector_peak_current_most"),
        ("drop_out_light", "drop_out"),
        ("zener_resistance", "zener_resistance"),
    ]
    for record in book.records:
        for less, more in pairs:
            if less in record.figures and more in record.figures:
                low, high = record.figures[less].low, record.figures[more].high
                assert low is not None and high is not None and low <= high, (record.name, less, more)


# Typed in from the printed sources named beside them.
SPOT_CHECKS = [
    ("NE5532", "supply_total_most", 44.0, 44.0),  # TI SLOS075J sec 7.1, ±22 V
    ("NE5532", "noise_voltage", 5e-9, 5e-9),  # TI SLOS075J sec 7.5
    ("NE5532", "bias_current_most", 800e-9, 800e-9),  # TI SLOS075J sec 7.5
    ("OPA2134", "slew_rate", 20e6, 20e6),  # TI SBOS058A sec 6.4
    ("OPA1656", "common_mode_from_plus", 2.25, 2.25),  # TI SBOS901C sec 6.3
    ("LM4562", "supply_total_recommended_most", 34.0, 34.0),  # TI SNAS326K, ±17 V
    ("LME49600", "offset_volts_most", 60e-3, 60e-3),  # TI SNAS422E
    ("BC547", "collector_emitter_volts_most", 45.0, 45.0),  # Motorola BC546/D
    ("2N5551", "collector_emitter_volts_most", 160.0, 160.0),  # Fairchild 2N5551 rev 1.1.0
    ("BD139", "thermal_to_case", 10.0, 10.0),  # ST BD135/BD139 rev 5
    ("MJL3281A", "power_case_most", 200.0, 200.0),  # onsemi MJL3281A/D
    ("IRFP240", "gate_threshold", 2.0, 4.0),  # IR PD-9.444C
    ("LM317", "reference_volts", 1.2, 1.3),  # TI SLVS044Y sec 7.5
    ("LM337", "output_capacitor_least", 1e-6, 1e-6),  # Fairchild KA337 rev 1.1.0
    ("L7805", "input_most", 35.0, 35.0),  # ST DS0422
    ("L7824", "input_most", 40.0, 40.0),  # ST DS0422
    ("TPS7A33", "reference_volts", 1.157, 1.192),  # TI SBVS169C
    ("BC557B", "output_capacitance", 3e-12, 6e-12),  # MCC BC556 to BC558
    ("BC337-40", "output_capacitance", 15e-12, 15e-12),  # onsemi BC337/D rev 7
    ("BD139-10", "transition_frequency", 190e6, 250e6),  # Central BD135 R3; Comset BD139
    ("MJE243", "thermal_to_case", 8.34, 8.34),  # onsemi MJE243/D rev 16
    ("MJE340", "gain_most", 240.0, 240.0),  # onsemi MJE340/D
    ("2N5089", "gain_most", 1200.0, 1200.0),  # onsemi 2N5088/D rev 4
    ("TIP121", "gain_least", 1000.0, 1000.0),  # onsemi TIP120/D rev 9
    ("TIP41C", "thermal_to_case", 1.67, 1.92),  # onsemi TIP41A/D rev 11 and rev 4
    ("MJ2955", "transition_frequency", 0.8e6, 2.5e6),  # onsemi 2N3055A/D and 2N3055/D
    ("IRF530", "thermal_to_air", 62.0, 62.0),  # Vishay IRF530
    ("IRF9540", "output_capacitance", 400e-12, 590e-12),  # IR IRF9540N; Vishay IRF9540
    ("2N7000", "input_capacitance", 22e-12, 60e-12),  # Vishay 70226 rev F
    ("MCP6002", "phase_margin", 90.0, 90.0),  # Microchip DS21733J
    ("MCP602", "phase_margin", 50.0, 50.0),  # Microchip DS21314
    ("LM741", "output_resistance", 75.0, 75.0),  # Philips MC1458 (1994)
    ("ADP7104", "input_most", 22.0, 22.0),  # ADI ADP7104 rev F
    ("TPS7A45", "drop_out", 0.3, 0.45),  # TI SLVS720D
]


@pytest.mark.parametrize(("name", "field", "low", "high"), SPOT_CHECKS)
def test_figures_are_those_of_the_printed_source(
    book: PartBook, name: str, field: str, low: float, high: float
) -> None:
    assert figure(book.find([name]), field) == pytest.approx((low, high))


OPAMP_FIELDS = {
    "gbw_mhz": ("gain_bandwidth", 1e6), "slew_v_per_us": ("slew_rate", 1e6), "en_nv": ("noise_voltage", 1e-9),
    "in_pa": ("noise_current", 1e-12), "ib_na": ("bias_current", 1e-9), "ib_na_max": ("bias_current_most", 1e-9),
    "supply_abs_max_total_v": ("supply_total_most", 1.0), "iq_ma_per_amp": ("supply_current", 1e-3),
    "iq_total_ma_max": ("supply_current_total_most", 1e-3), "isc_ma": ("short_circuit_current", 1e-3),
    "min_stable_gain": ("least_stable_gain", 1.0),
}  # fmt: skip
TRANSISTOR_FIELDS = {
    "vceo_v": "collector_emitter_volts_most", "vdss_v": "collector_emitter_volts_most",
    "vebo_v": "emitter_base_volts_most", "vcbo_v": "collector_base_volts_most",
    "ic_max_a": "collector_current_most", "id_max_a": "collector_current_most",
    "icm_a": "collector_peak_current_most", "ptot_w": "power_most", "ptot_free_air_w": "power_most",
    "ptot_case_w": "power_case_most", "theta_jc": "thermal_to_case", "theta_ja": "thermal_to_air",
    "rds_on_ohm_max": "on_resistance_most",
}  # fmt: skip


def published(name: str) -> dict[str, dict[str, object]]:
    if not REFERENCE.is_dir():
        pytest.skip("the published figures beside the project are not here")
    return yaml.safe_load((REFERENCE / name).read_text(encoding="utf-8"))["parts"]


def within(record: Record | None, field: str, value: float) -> bool:
    low, high = figure(record, field)
    assert low is not None and high is not None
    return low * 0.999 <= value <= high * 1.001


def test_op_amps_agree_with_the_published_table(book: PartBook) -> None:
    compared = 0
    for name, row in published("opamps.yaml").items():
        record = book.find([name])
        assert record is not None, name
        for key, (field, scale) in OPAMP_FIELDS.items():
            if isinstance(row.get(key), int | float):
                assert within(record, field, float(str(row[key])) * scale), (name, key, record.figures[field])
                compared += 1
    assert compared > 100


def test_transistors_agree_with_the_published_table(book: PartBook) -> None:
    compared = 0
    for name, row in published("transistors.yaml").items():
        record = book.find([name])
        assert record is not None, name
        assert record.kind == str(row["type"]).lower()
        orders = set(record.lead_orders.values())
        assert str(row["pins"]) in orders, (name, orders)
        for key, field in TRANSISTOR_FIELDS.items():
            if isinstance(row.get(key), int | float):
                assert within(record, field, float(str(row[key]))), (name, key)
                compared += 1
    assert compared > 120


def test_regulators_agree_with_the_published_table(book: PartBook) -> None:
    roles = {"ADJ": "adjust", "OUT": "output", "IN": "input", "GND": "ground"}
    for name, row in published("regulators.yaml").items():
        record = book.find([name.replace("xx", "15")])
        assert record is not None, name
        assert record.polarity == row["polarity"]
        pins = row.get("pins_to220")
        if isinstance(pins, dict):
            ours = {int(number): role for number, (role, _) in record.pinouts["TO-220"].items()}
            assert ours == {number: roles[word] for number, word in pins.items()}
            assert record.tab == roles[str(row["tab"])]


REGULATORS = {
    ("L7815", "TO-220"): (15.0, "input ground output", "ground"),
    ("LM7915CT", "TO-220"): (-15.0, "ground input output", "input"),
    ("78L05", "TO-92"): (5.0, "output ground input", ""),
    ("79L12", "TO-92"): (-12.0, "ground input output", ""),
    ("LM317T", "TO-220"): (None, "adjust output input", "output"),
    ("LM337T", "TO-220"): (None, "adjust input output", "input"),
    ("LM317LZ", "TO-92"): (None, "adjust output input", "output"),
    ("AMS1117-3.3", "SOT-223"): (3.3, "ground output input", "output"),
    ("AMS1117-ADJ", "SOT-223"): (None, "adjust output input", "output"),
    ("LP2950CZ-5.0", "TO-92"): (5.0, "output ground input", ""),
}


@pytest.mark.parametrize("part", sorted(REGULATORS))
def test_regulators_have_their_sign_leads_and_tab(book: PartBook, part: tuple[str, str]) -> None:
    volts, order, tab = REGULATORS[part]
    record = book.find([part[0]])
    assert record is not None and record.kind == "regulator"
    assert record.output == volts
    pins = pinout_for(record, part[1], ["1", "2", "3"])
    assert pins is not None
    assert " ".join(pins[number][0] for number in "123") == order
    if part[1] != "TO-92":
        assert record.tab == tab
    if volts is not None:
        low, high = figure(record, "output_volts")
        assert low is not None and high is not None and low < abs(volts) < high


def test_a_dual_op_amp_has_two_amplifiers_on_shared_supplies(book: PartBook) -> None:
    record = book.find(["NE5532"])
    assert record is not None
    pins = pinout_for(record, "DIP-8", [])
    assert pins is not None
    assert pins["1"] == ("output", "A") and pins["7"] == ("output", "B")
    assert pins["4"] == ("supply minus", "") and pins["8"] == ("supply plus", "")


def test_pin_outs_follow_the_package(book: PartBook) -> None:
    tl071, lm7805, lm3886 = book.find(["TL071"]), book.find(["LM7805"]), book.find(["LM3886"])
    assert tl071 is not None and lm7805 is not None and lm3886 is not None
    eight, five = pinout_for(tl071, "SOIC-8", []), pinout_for(tl071, "SOT-23-5", list("12345"))
    assert eight is not None and eight["6"] == ("output", "A")
    assert five is not None and five["1"] == ("output", "A")
    lm741 = book.find(["LM741"])
    assert lm741 is not None and pinout_for(lm741, "", list("12345")) is None
    assert pinout_for(lm741, "SOT-23-5", list("12345")) is None
    assert pinout_for(lm741, "", list("23467")) is not None
    assert pinout_for(lm7805, "", list("123")) is not None
    assert pinout_for(lm7805, "SOT-23", list("123")) is None
    many = pinout_for(lm3886, "TO-220-11", [str(n) for n in range(1, 12)])
    assert many is not None and many["8"] == ("control", "")


def test_control_pins_say_what_happens_when_they_are_forgotten(book: PartBook) -> None:
    mute = book.find(["LM3886"])
    assert mute is not None and [(c.use, c.when_open) for c in mute.controls] == [("mute", "stops")]
    both = book.find(["TDA7294V"])
    assert both is not None and {c.use for c in both.controls} == {"standby", "mute"}
    for record in book.records:
        for control in record.controls:
            for package, number in control.numbers.items():
                assert record.pinouts.get(package, {number: ()}).get(number) is not None, (record.name, control.name)


def test_the_suffix_narrows_the_gain(book: PartBook) -> None:
    assert figure(book.find(["BC547"]), "gain_least") == (110.0, 110.0)
    assert figure(book.find(["BC547B"]), "gain_least") == (200.0, 200.0)
    assert figure(book.find(["BC547C"]), "gain_most") == (800.0, 800.0)
    assert figure(book.find(["BC337-40"]), "gain_least") == (250.0, 250.0)


def test_memory_is_never_passed_off_as_read(book: PartBook) -> None:
    def status(name: str, field: str) -> str:
        record = book.find([name])
        assert record is not None
        return record.figures[field].status

    assert status("NE5532", "noise_voltage") == "read"
    assert status("NE5532", "offset_volts") == "memory"
    assert status("BC546", "collector_emitter_volts_most") == "memory"
    assert status("BC547B", "gain_least") == "read"
    assert status("LM317HVT", "input_output_most") == "memory"
    assert status("BZX55C5V1", "zener_volts") == "memory"


def test_a_partner_read_from_no_sheet_does_not_pass_for_read(book: PartBook) -> None:
    read, partner = book.find(["MJE340"]), book.find(["MJE350"])
    assert read is not None and partner is not None
    assert read.figures["gain_most"].status == "read"
    assert {found.status for found in partner.figures.values()} == {"memory"}


def test_a_phase_margin_is_one_of_an_amplifier_that_is_stable_by_itself(book: PartBook) -> None:
    told = [record for record in book.records if "phase_margin" in record.figures]
    assert len(told) > 20
    for record in told:
        low, high = figure(record, "phase_margin")
        assert low is not None and high is not None and 30 <= low <= high <= 90, record.name


LOOP_FIGURES = {
    "phase_margin output_resistance gain_bandwidth": "OPA2134 NE5532 TL072 MC33078 LM358 LF353 OPA627",
    "transition_frequency output_capacitance": (
        "BD139 BD140 BC547 BC557 2N3904 2N5551 TIP31C TIP42C TIP122 TIP127 2SD669 2SB649 MJE243 MJE253 MJE350 "
        "2SC5200 MJL1302A 2N3055"
    ),
}


@pytest.mark.parametrize("wanted", sorted(LOOP_FIGURES))
def test_what_the_loop_of_an_output_stage_hangs_on_is_told(book: PartBook, wanted: str) -> None:
    for name in LOOP_FIGURES[wanted].split():
        record = book.find([name])
        assert record is not None, name
        assert set(wanted.split()) <= set(record.figures), name


def test_a_darlington_has_two_junctions_in_series(book: PartBook) -> None:
    for name in ("TIP120", "TIP122", "TIP125", "TIP127"):
        low, _ = figure(book.find([name]), "base_emitter_volts")
        assert low is not None and low > 1


def test_volts_in_a_zener_name_are_read(book: PartBook) -> None:
    assert figure(book.find(["BZX55C5V1"]), "zener_volts") == pytest.approx((4.845, 5.355))
    assert figure(book.find(["BZX84-C12"]), "zener_volts") == pytest.approx((11.4, 12.6))
    assert figure(book.find(["1N4742A"]), "zener_volts") == pytest.approx((11.4, 12.6))


def test_generic_entries_are_wide_and_marked(book: PartBook) -> None:
    small, unnamed = book.generic("npn", "small"), book.generic("npn", "no such word")
    assert small is not None and small.generic and figure(small, "base_emitter_volts") == (0.55, 0.75)
    assert unnamed is not None and unnamed.name == "any npn"
    assert book.generic("connector") is None
    wide, narrow = figure(unnamed, "base_emitter_volts"), figure(small, "base_emitter_volts")
    assert wide[0] is not None and narrow[0] is not None and wide[0] <= narrow[0]


def test_a_known_type_without_figures_has_those_of_its_kind(book: PartBook) -> None:
    record = book.find(["S8050"])
    assert record is not None and not record.generic
    assert record.figures["base_emitter_volts"].status == "common practice"


GOOD = """
pinouts:
  three: {packages: [TO-92], pins: {1: output, 2: ground, 3: input}, status: memory}
parts:
  AB12:
    kind: regulator
    source: a sheet
    status: read
    figures: {input_most: 30 V, polarity: positive}
    pinouts: [three]
"""


def refusal(tmp_path: Path, text: str) -> str:
    (tmp_path / "x.yaml").write_text(text, encoding="utf-8")
    with pytest.raises(Refused) as caught:
        load_part_book(tmp_path)
    return str(caught.value)


def test_a_small_book_of_ones_own_loads(tmp_path: Path) -> None:
    (tmp_path / "x.yaml").write_text(GOOD, encoding="utf-8")
    record = load_part_book(tmp_path).find(["AB12"])
    assert record is not None
    assert figure(record, "input_most") == (30.0, 30.0)
    assert record.figures["input_most"].source == "a sheet" and record.figures["input_most"].status == "read"


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("input_most", "input_mots", "did you mean 'input_most'"),
        ("30 V", "30", "volts is expected"),
        ("30 V", "30 A", "volts is expected"),
        ("30 V", "30v", "is not a number with a unit"),
        ("30 V", "40 V to 30 V", "runs from more to less"),
        ("polarity: positive", "polarity: postive", "did you mean 'positive'"),
        ("kind: regulator", "kind: regulater", "did you mean 'regulator'"),
        ("status: read", "status: red", "did you mean 'read'"),
        ("pinouts: [three]", "pinouts: [tree]", "did you mean 'three'"),
        ("1: output", "1: outptu", "did you mean 'output'"),
        ("source: a sheet", "sauce: a sheet", "did you mean 'source'"),
        ("AB12", "ab12", "is not a type number"),
        ("AB12", '"A{volts}"', "list them under 'volts'"),
        ("    kind: regulator\n", "", "has no kind"),
        ("    kind: regulator\n", "    like: AC12\n", "there is no record 'AC12'"),
    ],
)
def test_mistakes_are_told_with_place_and_nearest_name(tmp_path: Path, old: str, new: str, said: str) -> None:
    told = refusal(tmp_path, GOOD.replace(old, new, 1))
    assert said in told
    assert re.match(r".*x\.yaml:\d+:\d+: ", told)


def test_all_mistakes_are_told_at_once(tmp_path: Path) -> None:
    told = refusal(tmp_path, GOOD.replace("30 V", "30 A").replace("kind: regulator", "kind: regulater"))
    assert "volts is expected" in told and "did you mean 'regulator'" in told


def test_one_spelling_cannot_stand_for_two_records(tmp_path: Path) -> None:
    second = "  CD34: {kind: npn, also: [AB12], status: memory, source: a sheet}\n"
    assert "belongs to the record 'AB12' already" in refusal(tmp_path, GOOD + second)


def test_likeness_goes_one_level_only(tmp_path: Path) -> None:
    chain = "  B1: {like: AB12}\n  C1: {like: B1}\n"
    assert "is like another record itself" in refusal(tmp_path, GOOD + chain)


def test_an_empty_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="no part book here"):
        load_part_book(tmp_path)


def test_what_is_no_utf_8_or_no_table_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.yaml").write_bytes(b"about: \xff\n")
    (tmp_path / "b.yaml").write_text("- a list\n", encoding="utf-8")
    with pytest.raises(Refused) as caught:
        load_part_book(tmp_path)
    assert "not UTF-8" in str(caught.value) and "a list stands here" in str(caught.value)
