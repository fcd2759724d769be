"""Bytes become text, and other sorts of file are told by name."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.ground.problems import Refused
from netcheck.intake import text as text_module
from netcheck.intake.text import decode, place

REFUSED = Path(__file__).parents[2] / "fixtures" / "netlists" / "refused"


@pytest.mark.parametrize(
    ("name", "sort"),
    [
        ("board", "a board file"),
        ("schematic", "a schematic file"),
        ("schematic-of-an-old-generation", "a schematic file of an old generation"),
        ("deck", "a SPICE deck"),
        ("deck-without-commands", "a SPICE deck"),
        ("xml", "a netlist in XML"),
        ("project", "a JSON file"),
        ("layout-program", "a netlist in another format"),
        ("empty", "the file is empty"),
    ],
)
def test_other_files_are_told_by_name_and_what_to_export(name: str, sort: str) -> None:
    with pytest.raises(Refused) as refusal:
        decode((REFUSED / f"{name}.net").read_bytes(), f"{name}.net")
    (problem,) = refusal.value.problems
    assert sort in problem.what
    assert "export the netlist from the schematic editor" in problem.what
    assert problem.file == f"{name}.net"


@pytest.mark.parametrize(
    ("data", "sort"),
    [
        (b"PK\x03\x04rest", "a zip archive"),
        (b"%PDF-1.7", "a PDF page"),
        (b"\x89PNG\r\n\x1a\n", "a picture"),
        ("(export)".encode("utf-16"), "UTF-16"),
        (bytes(range(256)) * 4, "binary"),
        (b"(export (version D)\n(value 1\x00k))", "U+0000"),
        (b"(export \xff\x81)", "neither text in UTF-8 nor in Windows-1252"),
        (b" \n\t\n", "the file is empty"),
        (b"hello", "this begins with 'hello'"),
    ],
)
def test_what_is_no_text_is_refused(data: bytes, sort: str) -> None:
    with pytest.raises(Refused, match=sort.replace("+", r"\+")):
        decode(data, "amp.net")


def test_the_line_of_the_damage_is_given() -> None:
    with pytest.raises(Refused) as refusal:
        decode(b"(export\n(components\n  (comp (value \x01))))", "amp.net")
    assert (refusal.value.problems[0].line, refusal.value.problems[0].column) == (3, 16)


def test_a_line_before_the_beginning_is_counted() -> None:
    with pytest.raises(Refused) as refusal:
        decode(b"\n\n(kicad_pcb (version 1))", "amp.net")
    assert refusal.value.problems[0].line == 3


def test_an_end_of_file_mark_behind_the_netlist_does_no_harm() -> None:
    assert decode(b"(export)\r\n\x1a", "amp.net")[0].startswith("(export)")


def test_a_byte_order_mark_is_taken_off_and_windows_1252_is_known() -> None:
    assert decode("\ufeff(export Ω)".encode(), "a.net") == ("(export Ω)", "UTF-8")
    assert decode("(export 10µ ½)".encode("cp1252"), "a.net") == ("(export 10µ ½)", "Windows-1252")


def test_what_is_too_large_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(text_module, "MOST_BYTES", 10)
    with pytest.raises(Refused, match="is not read"):
        decode(b"(export (version D))", "amp.net")


@settings(max_examples=150)
@given(st.binary(max_size=200) | st.text(max_size=200).map(lambda text: b"(export " + text.encode("utf-8", "replace")))
def test_any_bytes_are_text_or_refused(data: bytes) -> None:
    try:
        text, encoding = decode(data, "amp.net")
    except Refused as refusal:
        assert len(refusal.problems) == 1
        assert "\n" not in str(refusal)
    else:
        assert encoding in ("UTF-8", "Windows-1252")
        assert text.encode("utf-8-sig" if data.startswith(b"\xef\xbb\xbf") else encoding) == data


def test_places_count_from_one() -> None:
    assert place("ab\ncd", 0) == (1, 1)
    assert place("ab\ncd", 4) == (2, 2)
