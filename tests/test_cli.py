"""The command line as a person or a script meets it: exit codes, damaged inputs, what is printed and where."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from conftest import ROOT

from netcheck.command import main
from netcheck.rulebook import book

REFUSED = sorted((ROOT / "fixtures" / "netlists" / "refused").glob("*.net"))
DEMO = ROOT / "fixtures" / "bandroom" / "revision-a" / "amp.net"
HEAVY = ("networkx", "kinparse", "pyparsing", "jinja2", "yaml")
MOST_SECONDS_OF_HELP = 0.15

RULE = """\
rule: ours/NAME
title: One resistor is enough
consequence: CONSEQUENCE
cure: board
why: For the test.
remedy: Leave {{resistor}} out.
sources:
  - {text: made up, status: common practice, for: [most]}
for each: resistor
limits: {most: 1 kohm}
require:
  - that: resistor.ohms <= most
    else: "{{resistor}} has {{resistor.ohms}}; {{most}} is the most."
samples:
  - {title: large, expect: finding, at: [R1], says: 2 kΩ, circuit: R1 2k A B}
  - {title: small, expect: clear, circuit: R1 1k A B}
  - {title: no value, expect: undecided, at: [R1], says: TBD, circuit: R1 TBD A B}
"""


@pytest.fixture(scope="module", autouse=True)
def supplied_rules_loaded_once() -> Iterator[None]:
    """The supplied rule book is the same for all; only house rules make another."""
    load = book.load_rule_book
    supplied = load()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(book, "load_rule_book", lambda house=(), **more: load(house=house, **more) if house else supplied)
        yield


@pytest.fixture
def house(tmp_path: Path) -> Callable[[str, str], Path]:
    """A house folder with one rule of a given consequence."""

    def made(consequence: str, name: str = "resistors") -> Path:
        folder = tmp_path / "house" / "ours"
        folder.mkdir(parents=True, exist_ok=True)
        text = RULE.replace("NAME", name).replace("CONSEQUENCE", consequence)
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8")
        return folder.parent

    return made


def netlist(value: str, reference: str = "R1", net: str = "/OUT") -> str:
    """Two resistors between a net and ground, one of them of a given value; nothing else is wrong."""
    return (
        '(export (version "E") (design (source "t") (date "") (tool "t"))\n (components\n'
        f'  (comp (ref "{reference}") (value "{value}") (footprint "Resistor_SMD:R_0805") '
        '(libsource (lib "Device") (part "R")))\n'
        '  (comp (ref "R99") (value "1k") (footprint "Resistor_SMD:R_0805") (libsource (lib "Device") (part "R"))))\n'
        f' (nets\n  (net (code "1") (name "{net}") (node (ref "{reference}") (pin "1")) (node (ref "R99") (pin "1")))\n'
        f'  (net (code "2") (name "GND") (node (ref "{reference}") (pin "2")) (node (ref "R99") (pin "2")))))\n'
    )


def board(folder: Path, text: str, name: str = "board.net") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def run(*arguments: object) -> int:
    """The exit code; argparse's own exits too."""
    try:
        return main([str(argument) for argument in arguments])
    except SystemExit as end:
        return int(end.code or 0)


def in_a_process(*arguments: object, folder: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "netcheck", *(str(argument) for argument in arguments)]
    environment = {**os.environ, "XDG_CACHE_HOME": str(folder / "cache"), "COLUMNS": "100"}
    return subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False)


# Starting up


def test_help_needs_no_heavy_package() -> None:
    program = (
        "import sys\nfrom netcheck.command import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit:\n    pass\n"
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.splitlines()[-1] == "[]"


def test_help_is_there_at_once() -> None:
    times = []
    for _ in range(5):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-m", "netcheck", "--help"], capture_output=True, check=True, cwd=ROOT)
        times.append(time.perf_counter() - start)
    assert min(times) < MOST_SECONDS_OF_HELP


@pytest.mark.parametrize("command", ["review", "read", "rules", "explain", "prove"])
def test_each_command_explains_itself(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(command, "--help") == 0
    assert f"netcheck {command}" in capsys.readouterr().out


# Exit codes


def test_a_sound_board_is_released(tmp_path: Path, house: Callable[..., Path]) -> None:
    path = board(tmp_path, netlist("1k"))
    assert run("review", path, "--out", tmp_path / "r.html", "--house", house("damage"), "--quiet") == 0


def test_a_finding_holds(tmp_path: Path, house: Callable[..., Path]) -> None:
    path = board(tmp_path, netlist("2k"))
    assert run("review", path, "--out", tmp_path / "r.html", "--house", house("damage"), "--quiet") == 1


def test_a_finding_of_performance_does_not_hold(tmp_path: Path, house: Callable[..., Path]) -> None:
    path = board(tmp_path, netlist("2k"))
    assert run("review", path, "--out", tmp_path / "r.html", "--house", house("performance"), "--quiet") == 0


def test_a_finding_of_making_holds_the_order_only(tmp_path: Path, house: Callable[..., Path]) -> None:
    path, folder = board(tmp_path, netlist("2k")), house("make")
    common = ("review", path, "--out", tmp_path / "r.html", "--house", folder, "--quiet")
    assert (run(*common), run(*common, "--gate", "order"), run(*common, "--gate", "power-up")) == (1, 1, 0)


def test_what_is_not_known_does_not_release(tmp_path: Path, house: Callable[..., Path]) -> None:
    path = board(tmp_path, netlist("R_sense"))
    common = ("review", path, "--out", tmp_path / "r.html", "--house", house("damage"), "--quiet")
    assert run(*common, "--gate", "power-up") == 3


def test_without_a_command_or_with_a_wrong_one_nothing_is_reviewed(capsys: pytest.CaptureFixture[str]) -> None:
    assert run() == 2
    assert run("reviewed", DEMO) == 2
    assert "COMMAND" in capsys.readouterr().err


# Damaged inputs


@pytest.mark.parametrize("path", REFUSED, ids=lambda path: path.stem)
def test_a_damaged_netlist_is_refused_in_a_sentence(
    path: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "r.html"
    assert run("review", path, "--out", out, "--no-cache") == 2
    told = capsys.readouterr()
    assert told.out == "" and not out.exists()
    lines = told.err.splitlines()
    assert 1 <= len(lines) <= 3 and all(path.name in line for line in lines)


def test_every_sort_of_damage_is_among_the_fixtures() -> None:
    assert len(REFUSED) >= 20


def test_no_traceback_reaches_a_reader(tmp_path: Path) -> None:
    missing, folder = tmp_path / "nowhere.net", tmp_path / "folder.net"
    folder.mkdir()
    noise = board(tmp_path, "(" * 100_000, "deep.net")
    for path in (missing, folder, noise):
        done = in_a_process("review", path, folder=tmp_path)
        assert done.returncode == 2, done.stderr
        assert "Traceback" not in done.stderr and path.name in done.stderr


def test_a_mistake_in_a_house_rule_stops_the_review(
    tmp_path: Path, house: Callable[..., Path], capsys: pytest.CaptureFixture[str]
) -> None:
    folder = house("damage")
    rule = folder / "ours" / "resistors.yaml"
    rule.write_text(rule.read_text("utf-8").replace("resistor.ohms <=", "resistor.ohm <="), "utf-8")
    assert run("review", board(tmp_path, netlist("1k")), "--out", tmp_path / "r.html", "--house", folder) == 2
    assert "resistors.yaml:12:" in (told := capsys.readouterr().err) and "'ohms'" in told


def test_a_folder_of_rules_that_is_not_there_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("review", DEMO, "--out", tmp_path / "r.html", "--house", tmp_path / "hous") == 2
    assert "hous" in capsys.readouterr().err


def test_a_report_that_cannot_be_written_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    taken = board(tmp_path, "a file, no folder", "taken")
    assert run("review", board(tmp_path, netlist("1k")), "--out", taken / "r.html", "--quiet") == 2
    assert "taken" in capsys.readouterr().err


# What is printed, what is written


def test_quiet_prints_nothing(tmp_path: Path, house: Callable[..., Path]) -> None:
    path = board(tmp_path, netlist("2k"))
    done = in_a_process("review", path, "--house", house("damage"), "--quiet", folder=tmp_path)
    assert (done.returncode, done.stdout, done.stderr) == (1, "", "")
    assert (tmp_path / "board.report.html").stat().st_size > 0


def test_the_summary_says_where_the_report_is(tmp_path: Path, house: Callable[..., Path]) -> None:
    path = board(tmp_path, netlist("2k"))
    done = in_a_process("review", path, "--house", house("damage"), folder=tmp_path)
    assert "report: board.report.html" in done.stdout and "\x1b" not in done.stdout
    assert "R1 has 2 kΩ; 1 kΩ is the most." in done.stdout
    assert done.stderr == ""


def test_a_report_goes_into_a_new_folder(tmp_path: Path) -> None:
    out, sarif = tmp_path / "new" / "deeper" / "r.html", tmp_path / "other" / "r.sarif"
    run("review", board(tmp_path, netlist("1k")), "--out", out, "--sarif", sarif, "--quiet")
    assert out.read_text("utf-8").lstrip().lower().startswith("<!doctype html>")
    assert json.loads(sarif.read_text("utf-8"))["version"] == "2.1.0"
    assert [path.name for path in out.parent.iterdir()] == ["r.html"]


ODD_NAMES = ["my amp (final).net", "größe.net", "-amp.net", "amp;rm -rf.net", "<b>amp.net", "a'b\"c.net", "amp"]


@pytest.mark.parametrize("name", ODD_NAMES)
def test_odd_file_names_are_as_good_as_others(name: str, tmp_path: Path) -> None:
    path = board(tmp_path, netlist("1k"), name)
    out = tmp_path / "r.html"
    assert run("review", path, "--out", out, "--quiet") in (0, 1, 3)
    assert "<b>amp" not in out.read_text("utf-8")


@pytest.mark.parametrize("text", ["<script>alert(1)</script>", "{{7*7}}", "\u202egnp.exe", "R$(id)", "ΩΩ"])
def test_odd_names_inside_are_shown_and_not_obeyed(text: str, tmp_path: Path, house: Callable[..., Path]) -> None:
    path = board(tmp_path, netlist("2k", net=f"/{text}"))
    out = tmp_path / "r.html"
    run("review", path, "--out", out, "--house", house("damage"), "--quiet")
    page = out.read_text("utf-8")
    assert "<script>alert" not in page and "\u202e" not in page


def test_two_boards_of_one_name_are_told_apart(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        board(tmp_path / folder, netlist("1k"), "amp.net")
    run("review", tmp_path / "a" / "amp.net", tmp_path / "b" / "amp.net", "--out", tmp_path / "r.html")
    told = capsys.readouterr().out
    assert "2 boards" in told and "amp 2" in told


# The other commands


def test_read_shows_what_a_board_was_taken_for(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("read", DEMO) == 0
    told = capsys.readouterr().out
    assert "+15V: +15 V" in told and "U101A" in told and "output stage" in told


def test_rules_lists_house_rules_too(house: Callable[..., Path], capsys: pytest.CaptureFixture[str]) -> None:
    assert run("rules", "--house", house("damage")) == 0
    told = capsys.readouterr().out
    assert "One resistor is enough" in told and "emitter-resistors" in told


def test_explain_tells_a_rule_and_the_nearest_name_of_a_wrong_one(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("explain", "supply/capacitor-polarity") == 0
    assert "Reversed" in capsys.readouterr().out
    assert run("explain", "supply/capacitor-polarty") == 2
    assert "supply/capacitor-polarity" in capsys.readouterr().err


def test_prove_proves_the_files_given(house: Callable[..., Path], capsys: pytest.CaptureFixture[str]) -> None:
    folder = house("damage")
    assert run("prove", folder / "ours" / "resistors.yaml", "--break") == 0
    assert "1 of 1 rules hold" in capsys.readouterr().out


def test_prove_fails_where_a_sample_does(house: Callable[..., Path], capsys: pytest.CaptureFixture[str]) -> None:
    folder = house("damage")
    rule = folder / "ours" / "resistors.yaml"
    rule.write_text(rule.read_text("utf-8").replace("R1 1k A B", "R1 3k A B"), "utf-8")
    assert run("prove", rule) == 1
    told = capsys.readouterr().out
    assert "sample 'small'" in told and "0 of 1 rules hold" in told


def test_prove_names_a_file_that_is_not_there(house: Callable[..., Path], capsys: pytest.CaptureFixture[str]) -> None:
    assert run("prove", house("damage") / "ours" / "resistor.yaml") == 2
    assert "resistor.yaml" in capsys.readouterr().err
