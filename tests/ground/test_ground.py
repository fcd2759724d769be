"""Problems, names and files."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from netcheck.ground.files import cache_folder, write_whole
from netcheck.ground.names import did_you_mean, natural_key, nearest, plain, spoken_list
from netcheck.ground.problems import Problem, Refused


def test_problems_come_in_the_order_of_the_file() -> None:
    later, earlier, whole = Problem("b", 10, 1, "x"), Problem("b", 9, 7, "y"), Problem("a", 0, 0, "z")
    refused = Refused([later, earlier, whole])
    assert refused.problems == (whole, earlier, later)
    assert str(refused).splitlines() == ["a: z", "b:9:7: y", "b:10:1: x"]


def test_a_line_without_a_column_is_told_alone() -> None:
    assert str(Problem("a.net", 3, 0, "x")) == "a.net:3: x"


def test_natural_order_counts_figures_as_numbers() -> None:
    assert sorted(["R10", "R9", "R1A", "R1", "10", "9"], key=natural_key) == ["9", "10", "R1", "R1A", "R9", "R10"]


def test_natural_order_takes_any_text() -> None:
    assert sorted(["²", "٣", "", "a1b2"], key=natural_key)[0] == ""


def test_the_nearest_name_ignores_letter_case_first() -> None:
    assert nearest("GND", ["gnd", "GNDA"]) == "gnd"
    assert nearest("quite other", ["gnd"]) is None


def test_a_long_list_is_not_recited() -> None:
    assert did_you_mean("qqq", [f"name{n}" for n in range(40)]) == ""
    assert did_you_mean("qqq", []) == ""


def test_marks_that_change_the_direction_of_text_are_shown() -> None:
    shown = plain("a\u202eb\x1b[31m\u2066" + "c" * 300)
    assert "\u202e" not in shown and "\x1b" not in shown and "<U+202E>" in shown
    assert len(shown) <= 201


def test_a_long_list_ends_with_how_many_more() -> None:
    assert spoken_list([f"C{n}" for n in range(1, 10)]) == "C1, C2, C3, C4, C5, C6 and 3 more"
    assert spoken_list(["C1"]) == "C1"


def test_a_file_is_written_whole_and_the_old_one_stays_when_it_cannot_be(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "folder" / "report.html"
    write_whole(target, "old\n")

    def fail(old: object, new: object) -> None:
        raise OSError("no space")

    monkeypatch.setattr(os, "replace", fail)
    with pytest.raises(OSError, match="no space"):
        write_whole(target, "new\n")
    assert target.read_text() == "old\n"
    assert [path.name for path in target.parent.iterdir()] == ["report.html"]


def test_the_cache_is_where_the_user_keeps_caches(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert cache_folder() == tmp_path / "netcheck"
    monkeypatch.setenv("XDG_CACHE_HOME", "relative")
    assert cache_folder() == Path.home() / ".cache" / "netcheck"
