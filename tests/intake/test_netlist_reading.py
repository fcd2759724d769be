"""Files in, netlists out; several at once; everything that is wrong is told together."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from netcheck.ground.problems import Refused
from netcheck.intake import reading
from netcheck.intake.reading import read_netlist, read_netlists, read_text

FIXTURES = Path(__file__).parents[2] / "fixtures" / "netlists"
SOUND = sorted(FIXTURES.glob("*.net"))
REFUSED = sorted((FIXTURES / "refused").glob("*.net"))


@pytest.fixture(autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.mktemp("cache")))


@pytest.mark.parametrize("path", SOUND, ids=lambda path: path.stem)
def test_every_shape_is_read_by_both_and_agrees(path: Path) -> None:
    netlist = read_netlist(path, cache=False)
    text = path.read_bytes().decode("cp1252" if "1252" in path.name else "utf-8-sig")
    assert netlist.file == str(path)
    assert len(netlist.components) == text.count("(comp (") + text.count("(comp\n")
    assert sum(len(net.nodes) for net in netlist.nets) == text.count("(node ") + text.count("(node\n")


@pytest.mark.parametrize("path", REFUSED, ids=lambda path: path.stem)
def test_everything_else_is_refused_in_one_sentence(path: Path) -> None:
    with pytest.raises(Refused) as refusal:
        read_netlist(path)
    (problem,) = refusal.value.problems
    assert str(problem).startswith(str(path))
    assert "\n" not in str(problem) and len(problem.what) < 260


def test_odd_names_are_what_the_designer_wrote() -> None:
    netlist = read_netlist(FIXTURES / "odd-names.net")
    assert [component.value for component in netlist.components] == [
        '5" (left) \\ right\nsecond line',
        "10k (SEND_LEVEL)",
        "~odd~0",
        "4,7μF Φ （16V） 'x' ;)",
    ]
    assert [net.name for net in netlist.nets] == ["", "", '/bus[0..7] "x" (y', "~{MUTE}*{slash}"]


def test_windows_1252_and_text_behind_are_noted() -> None:
    assert read_netlist(FIXTURES / "generation-5-windows-1252.net").components[0].value == "4,7µF"
    assert "Windows-1252" in read_netlist(FIXTURES / "generation-5-windows-1252.net").notes[0]
    assert "behind the last parenthesis" in read_netlist(FIXTURES / "other-writer.net").notes[0]


def test_a_second_reading_needs_no_kinparse(monkeypatch: pytest.MonkeyPatch) -> None:
    first = read_netlist(SOUND[0])
    monkeypatch.setattr(reading, "wiring", None)
    assert read_netlist(SOUND[0]) == first
    with pytest.raises(TypeError):
        read_netlist(SOUND[0], cache=False)


def test_a_changed_file_is_read_anew(tmp_path: Path) -> None:
    path = tmp_path / "amp.net"
    text = (FIXTURES / "oddities.net").read_text()
    path.write_text(text)
    read_netlist(path)
    path.write_text(text.replace("10R", "22R"))
    assert read_netlist(path).components[0].value == "22R"


def test_a_file_that_is_not_there_is_told_with_its_neighbour(tmp_path: Path) -> None:
    (tmp_path / "supply.net").write_text("x")
    with pytest.raises(Refused, match=r"there is no such file; did you mean 'supply\.net'\?"):
        read_netlist(tmp_path / "suply.net")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_what_is_no_ordinary_file_is_refused(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.net")
    for path, words in ((tmp_path, "this is a folder"), (tmp_path / "pipe.net", "not an ordinary file")):
        with pytest.raises(Refused, match=words):
            read_netlist(path)
    with pytest.raises(Refused):
        read_netlist(Path("a\0b.net"))


def test_a_large_file_is_refused_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "large.net"
    with path.open("wb") as stream:
        stream.truncate(201_000_000)
    with pytest.raises(Refused, match="201 MB"):
        read_netlist(path)


def test_several_keep_their_order_and_tell_progress() -> None:
    paths = [SOUND[2], SOUND[0], SOUND[1], SOUND[0]]
    told: list[tuple[Path, int, int]] = []
    netlists = read_netlists(paths, progress=lambda path, done, of: told.append((path, done, of)))
    assert [netlist.file for netlist in netlists] == [str(path) for path in paths]
    assert sorted(path for path, _, _ in told) == sorted(set(paths))
    assert told[-1][1:] == (3, 3)


def test_processes_give_what_one_gives(monkeypatch: pytest.MonkeyPatch) -> None:
    alone = read_netlists(SOUND[:3], cache=False, jobs=1)
    monkeypatch.setattr(reading, "NODES_WORTH_A_PROCESS", 1)
    assert read_netlists(SOUND[:3], cache=False, jobs=2) == alone


def test_without_further_processes_all_is_read_in_this_one(monkeypatch: pytest.MonkeyPatch) -> None:
    def none_to_be_had(*_: object, **__: object) -> None:
        raise OSError("no more processes")

    monkeypatch.setattr(reading, "NODES_WORTH_A_PROCESS", 1)
    monkeypatch.setattr("concurrent.futures.ProcessPoolExecutor", none_to_be_had)
    assert len(read_netlists(SOUND[:2], cache=False, jobs=2)) == 2


def test_the_problems_of_all_files_are_told_together(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "NODES_WORTH_A_PROCESS", 1)
    names = ("duplicate-reference", "board", "no-such-file")
    with pytest.raises(Refused) as refusal:
        read_netlists([SOUND[0], *(FIXTURES / "refused" / f"{name}.net" for name in names)], jobs=2)
    assert len(refusal.value.problems) == 3


def test_the_digest_is_that_of_the_bytes() -> None:
    data = b"(export (components (comp (ref R1))) (nets))"
    assert read_text(data, "a.net").digest != read_text(data + b"\n", "a.net").digest
