"""The first assembly file: what is guessed for the demo, and how little of it must be edited."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from conftest import ROOT

from netcheck.circuit.board import understand
from netcheck.circuit.model import Board
from netcheck.circuit.sampling import read_sample
from netcheck.command import main
from netcheck.drafting import draft
from netcheck.intake.assemblycheck import check_against
from netcheck.intake.assemblyreading import read_assembly
from netcheck.intake.contents import read_contents
from netcheck.intake.scan import scan

DEMO = ROOT / "fixtures" / "bandroom" / "revision-b"
NAMES = ("supply", "amp", "panel")


def board(name: str, book) -> Board:
    file = DEMO / f"{name}.net"
    netlist = read_contents(scan(file.read_text(encoding="utf-8"), file.name)[0], file.name, "0" * 64)
    return understand(netlist, name, book.parts, book.words)


@pytest.fixture(scope="module")
def text(book) -> str:
    boards = [board(name, book) for name in NAMES]
    return draft(boards, [Path(f"{name}.net") for name in NAMES], book.words, "Bandroom monitor")


def entries(text: str) -> set[str]:
    """The lines of a YAML text that say something, each without its comment, blanks folded."""
    bare = (re.sub(r"\s+#.*$", "", line) for line in re.sub(r",\n\s+", ", ", text).splitlines())
    return {" ".join(line.split()) for line in bare if line.strip() and not line.lstrip().startswith("#")}


def test_the_draft_is_an_assembly_file_that_fits_its_netlists(text: str, tmp_path: Path, book) -> None:
    for name in NAMES:
        (tmp_path / f"{name}.net").write_bytes((DEMO / f"{name}.net").read_bytes())
    path = tmp_path / "box.yaml"
    path.write_text(text, encoding="utf-8")
    found = read_assembly(path)
    assert [entry.name for entry in found.boards] == list(NAMES)
    netlists = {name: board(name, book).netlist for name in NAMES}
    check_against(found, netlists)


def test_connectors_that_carry_the_same_are_joined(text: str) -> None:
    assert "from: supply.J2, to: amp.J1, keyed: yes" in text
    assert "from: amp.J3, to: panel.J1" in text
    assert "from: amp.J4, to: panel.J2" in text
    assert "from: amp.J2, to: panel.J3" in text


def test_sockets_become_inputs_and_outputs_with_loads(text: str) -> None:
    assert "at: panel.J4.T, return: panel.J4.S" in text
    assert re.search(r"at: panel\.J6\.T, return: panel\.J6\.S, loads: \[32 ohm, 300 ohm\]", text)


def test_a_transformer_is_guessed_where_a_rectifier_is_fed(text: str) -> None:
    assert "secondaries: [18 V, 18 V]" in text
    assert "S1: supply.J1.1, S2: supply.J1.2, S3: supply.J1.2, S4: supply.J1.3" in text
    assert "local code" in text


def test_parts_that_may_need_a_heatsink_are_asked_for_by_name(text: str) -> None:
    (asked,) = [line for line in text.splitlines() if "heatsinks:" in line]
    assert asked.startswith("#") and "supply.U1, supply.U2" in asked and "amp.Q101" in asked
    assert "amp.Q1," not in asked and "amp.U101" not in asked  # small transistors and op-amps stand free


def test_what_floats_is_guessed_not_to_be_earthed(text: str) -> None:
    assert "{at: panel.J6, earthed: no}  # guess" in text
    assert "{at: panel.J4, earthed: unknown}" in text


def test_the_demo_is_at_most_twenty_edited_lines_away(text: str) -> None:
    """Lines that differ once comments are gone: each is one line to edit, to add or to take out."""
    wanted = entries((DEMO / "bandroom.yaml").read_text(encoding="utf-8"))
    drafted = entries(text)
    assert max(len(wanted - drafted), len(drafted - wanted)) <= 20


def test_what_contradicts_itself_is_not_joined(book) -> None:
    boards = []
    for name, sample in (
        ("one", "J1 header 1=+15V 2=GND\nR1 1k +15V GND"),
        ("two", "J1 header 1=GND 2=+15V\nR1 1k +15V GND"),
    ):
        netlist, hints = read_sample(sample, name, 1, name)
        boards.append(understand(netlist, name, book.parts, book.words, hints))
    text = draft(boards, [Path("one.net"), Path("two.net")], book.words)
    assert "cables:" not in text
    assert "# asked: what is one.J1" in text


def test_a_draft_is_never_written_over_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "box.yaml"
    out.write_text("mine", encoding="utf-8")
    assert main(["draft", str(DEMO / "amp.net"), "--out", str(out)]) == 2
    assert out.read_text(encoding="utf-8") == "mine"
    assert "there already" in capsys.readouterr().err
