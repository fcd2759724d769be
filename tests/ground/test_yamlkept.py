"""Documents kept between runs are those that the scanner gives, and nothing that was tampered with."""

from __future__ import annotations

from pathlib import Path

import pytest

from netcheck.ground import yamlkept, yamltext
from netcheck.ground.problems import Refused
from netcheck.ground.yamlkept import KeptDocuments

TEXT = "rule: a/b\nlist: [1, 'two', {three: x}]\nblock: |\n  line\n  more\n"


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path / "netcheck" / "rules" / "book.json"


def test_what_was_kept_is_what_the_scanner_gives(monkeypatch: pytest.MonkeyPatch) -> None:
    first = KeptDocuments("book", "1")
    node = first.load(TEXT, "a.yaml")
    first.keep()

    def never(text: str, file: str) -> yamltext.Node:
        raise AssertionError("scanned again")

    monkeypatch.setattr(yamlkept.yamltext, "load", never)
    assert KeptDocuments("book", "1").load(TEXT, "a.yaml") == node


def test_a_changed_text_is_scanned_anew() -> None:
    first = KeptDocuments("book", "1")
    first.load(TEXT, "a.yaml")
    first.keep()
    changed = TEXT.replace("three", "four")
    assert KeptDocuments("book", "1").load(changed, "a.yaml") == yamltext.load(changed, "a.yaml")


@pytest.mark.parametrize("damage", [lambda text: text[:-4], lambda text: text.replace("two", "too"), lambda text: ""])
def test_a_damaged_file_is_ignored(own_cache: Path, damage: object) -> None:
    first = KeptDocuments("book", "1")
    first.load(TEXT, "a.yaml")
    first.keep()
    assert callable(damage)
    own_cache.write_text(damage(own_cache.read_text(encoding="utf-8")), encoding="utf-8")
    assert KeptDocuments("book", "1").load(TEXT, "a.yaml") == yamltext.load(TEXT, "a.yaml")


def test_what_was_read_of_other_files_is_read_anew() -> None:
    first = KeptDocuments("book", "1")
    first.load(TEXT, "a.yaml")
    first.keep()
    assert KeptDocuments("book", "1").sound and not KeptDocuments("book", "2").sound
    assert KeptDocuments("book", "2")._kept == {}


def test_a_key_can_be_left_out() -> None:
    first = KeptDocuments("book", "1", without="list")
    assert first.load(TEXT, "a.yaml") == yamltext.load(TEXT, "a.yaml")
    first.keep()
    kept = KeptDocuments("book", "1", without="list").load(TEXT, "a.yaml")
    assert isinstance(kept, yamltext.Table) and kept.keys() == ("rule", "block")


def test_a_mistake_is_told_with_the_name_of_its_file() -> None:
    kept = KeptDocuments("book", "1")
    with pytest.raises(Refused, match=r"b\.yaml:1"):
        kept.load("a: *b", "b.yaml")


def test_without_a_place_to_keep_it_works_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", "/proc/none")
    kept = KeptDocuments("book", "1")
    kept.load(TEXT, "a.yaml")
    kept.keep()
    assert KeptDocuments("book", "1").load(TEXT, "a.yaml") == yamltext.load(TEXT, "a.yaml")
