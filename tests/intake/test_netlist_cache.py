"""What was read is found again, and nothing else is."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest

from netcheck.intake import cache
from netcheck.intake.contents import read_contents
from netcheck.intake.netlist import Netlist
from netcheck.intake.scan import scan
from netcheck.intake.text import decode

FIXTURES = Path(__file__).parents[2] / "fixtures" / "netlists"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path / "netcheck" / "netlists"


def some(name: str = "generation-10", digest: str = "ab12") -> Netlist:
    text, _ = decode((FIXTURES / f"{name}.net").read_bytes(), "amp.net")
    return read_contents(scan(text, "amp.net")[0], "amp.net", digest)


@pytest.mark.parametrize("name", sorted(path.stem for path in FIXTURES.glob("*.net")))
def test_a_netlist_comes_back_as_it_was(folder: Path, name: str) -> None:
    netlist = some(name)
    cache.keep(netlist)
    assert cache.fetch("ab12", "amp.net") == netlist


def test_it_comes_back_under_the_name_that_the_file_has_now(folder: Path) -> None:
    cache.keep(some())
    found = cache.fetch("ab12", "moved/amp.net")
    assert found is not None and found.file == "moved/amp.net"


def test_another_text_or_reader_is_not_found(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cache.keep(some())
    assert cache.fetch("cd34", "amp.net") is None
    monkeypatch.setattr(cache, "reader_version", lambda: "another")
    assert cache.fetch("ab12", "amp.net") is None


def test_a_changed_letter_is_noticed(folder: Path) -> None:
    cache.keep(some())
    (path,) = folder.glob("*.json")
    path.write_text(path.read_text().replace("TL072CP", "TL074CP"))
    assert cache.fetch("ab12", "amp.net") is None


@pytest.mark.parametrize("damage", ["", "x", "{}", "\n{}", "\n" + "[" * 100_000])
def test_a_corrupt_file_is_ignored(folder: Path, damage: str) -> None:
    cache.keep(some())
    (path,) = folder.glob("*.json")
    path.write_text(damage)
    assert cache.fetch("ab12", "amp.net") is None


@pytest.mark.parametrize("body", [{}, [], {"components": [{"nonsense": 1}], "nets": [], "oddities": [], "notes": []}])
def test_a_sealed_file_of_another_shape_is_ignored(folder: Path, body: object) -> None:
    cache.keep(some())
    (path,) = folder.glob("*.json")
    text = json.dumps(body)
    path.write_text(f"{cache._seal('ab12', text.encode())}\n{text}")
    assert cache.fetch("ab12", "amp.net") is None


def test_a_folder_that_cannot_be_written_is_done_without(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    cache.keep(some())
    assert cache.fetch("ab12", "amp.net") is None


def test_the_oldest_make_room(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache, "MOST_FILES", 3)
    for number in range(6):
        cache.keep(some(digest=f"d{number}"))
    assert len(list(folder.glob("*"))) == 3
    assert cache.fetch("d5", "amp.net") is not None


def test_large_ones_are_not_kept(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cache, "MOST_BYTES", 100)
    cache.keep(some())
    assert not folder.exists()


def test_two_writers_do_not_disturb_each_other(folder: Path) -> None:
    netlist = some()
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(lambda _: cache.keep(replace(netlist)), range(20)))
    assert cache.fetch("ab12", "amp.net") == netlist
    assert len(list(folder.iterdir())) == 1
