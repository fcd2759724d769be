"""rules/words.yaml is whole, and a wrong one is refused with every mistake."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.circuit.netnames import read_net_name
from netcheck.circuit.words import Words, load_words, read_words
from netcheck.ground.problems import Refused
from netcheck.ground.units import OHM

RULES = Path(__file__).resolve().parents[2] / "rules" / "words.yaml"


@pytest.fixture(scope="module")
def words() -> Words:
    return load_words(RULES)


def test_groups_limits_and_cautions_answer_by_name(words: Words) -> None:
    assert {"resistor", "inductor", "potentiometer"} <= words.group("dc")
    assert "capacitor" not in words.group("dc")
    assert "transformer" not in words.group("dc")
    assert words.limit("look through").value == 22 and words.limit("look through").unit == OHM
    assert "licensed" in words.caution("mains")
    with pytest.raises(KeyError, match="transistors"):
        words.group("transistrs")


def test_every_entry_has_a_reason_and_a_source(words: Words) -> None:
    for entry in (*words.groups.values(), *words.limits.values()):
        assert entry.why and entry.source
    for caution in words.cautions.values():
        assert caution.source
        assert "safe" not in caution.text.lower().split()


def test_every_mistake_is_told_at_once_with_its_place() -> None:
    text = """groups:
  dc: {kinds: [resistr], why: w, source: s}
cautions: {}
recognition:
  look through: {value: 4k7, why: w, source: s, status: guess}
net names: {source: s, rails: ['*A*B*C*'], grounds: [], earths: [], chassis: [], biases: [], alternating: [],
            no rails: [], no grounds: []}
text words: {}
"""
    with pytest.raises(Refused) as refusal:
        read_words(text, "words.yaml")
    told = str(refusal.value)
    assert "words.yaml:2:" in told and "did you mean 'resistor'" in told
    assert "4.7 kohm" in told and "'guess'" in told
    assert "at most 2 stars" in told


def test_sections_of_others_are_kept_for_them(words: Words) -> None:
    extended = read_words(RULES.read_text(encoding="utf-8") + "\nsome other section: {a: b}\n", "words.yaml")
    assert "some other section" in extended.sections
    assert extended.groups == words.groups


@pytest.mark.parametrize("text", ["", "- a", "groups: 3", "groups: {dc: {kinds: resistor}}"])
def test_a_wrong_file_is_refused_not_crashed(text: str) -> None:
    with pytest.raises(Refused):
        read_words(text, "words.yaml")


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="cannot be read"):
        load_words(tmp_path / "none.yaml")


@pytest.mark.parametrize(
    ("name", "volts"),
    [
        ("+12V", 12), ("-12V", -12), ("+3V3", 3.3), ("+3.3V", 3.3), ("+5VA", 5), ("15V", 15), ("5V_USB", 5),
        ("-12V_B", -12), ("+12VDC_A", 12), ("/amp/+15V", 15), ("-5_volts", -5), ("+12", 12), ("-12L", -12),
        ("+1V35", 1.35), ("PLUS3V3", 3.3), ("N12V", -12), ("SI0_+15V", 15), ("3V3-fpga", 3.3),
    ],
)  # fmt: skip
def test_names_that_are_sure_of_their_volts(words: Words, name: str, volts: float) -> None:
    read = read_net_name(name, words)
    assert (read.says, read.sure, read.volts) == ("rail", True, volts)
    assert read.sign == ("positive" if volts > 0 else "negative")


@pytest.mark.parametrize(
    ("name", "sign"),
    [
        ("VCC", "positive"), ("VDD", "positive"), ("+VccL2", "positive"), ("/amp/+V", "positive"),
        ("VCC_FUSED", "positive"), ("+VDC", "positive"), ("VBAT", "positive"), ("-VCC", "negative"),
        ("VEE", "lowest"), ("VSS", "lowest"), ("-BATT", "lowest"),
    ],
)  # fmt: skip
def test_names_that_are_sure_rails_without_volts(words: Words, name: str, sign: str) -> None:
    read = read_net_name(name, words)
    assert (read.says, read.sure, read.sign, read.volts) == ("rail", True, sign, None)


@pytest.mark.parametrize("name", ["V+", "V-", "HT", "B+", "PWR", "VIN", "USB5V", "VPP", "UFO-Controller-24V-In"])
def test_names_that_only_hint_at_a_rail(words: Words, name: str) -> None:
    read = read_net_name(name, words)
    assert (read.says, read.sure) == ("rail", False)


@pytest.mark.parametrize("name", ["GND", "GNDA", "AGND", "DGND", "0V", "PWR_GND", "GND1", "/psu/GNDPWR", "common_gnd"])
def test_names_of_grounds(words: Words, name: str) -> None:
    assert read_net_name(name, words).says == "ground"


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("VREF", "bias"), ("VBIAS_LEFT", "bias"), ("VGND", "bias"), ("2.5Vref", "bias"), ("Earth", "earth"),
        ("CHASSIS", "chassis"), ("+15VAC", "alternating"), ("AC_1", "alternating"), ("", ""), ("+1", ""), ("200", ""),
        ("4.096", ""), ("10vpp_saw_v_out", "no rail"), ("PWR_EN", "no rail"), ("SW_3V3", "no rail"),
        ("VBAT_SENSE", "no rail"), ("I/O2", ""), ("GND_SENSE", "no rail"), ("/", ""), ("VOUTL", ""),
    ],
)  # fmt: skip
def test_other_names(words: Words, name: str, says: str) -> None:
    assert read_net_name(name, words).says == says


@settings(max_examples=150, deadline=2000)
@given(st.text(max_size=300))
def test_any_text_is_a_name(name: str) -> None:
    read = read_net_name(name, load_words_once())
    assert read.volts is None or 0 < abs(read.volts) <= 1000


_KEPT: list[Words] = []


def load_words_once() -> Words:
    if not _KEPT:
        _KEPT.append(load_words(RULES))
    return _KEPT[0]
