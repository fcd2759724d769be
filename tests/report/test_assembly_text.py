"""What `netcheck read` prints of an assembly file: what was told, what was inferred, what is missing."""

from __future__ import annotations

from pathlib import Path

import pytest
from conftest import ROOT

from netcheck.command import main

DEMO = ROOT / "fixtures" / "bandroom" / "revision-b"


def sections(text: str) -> dict[str, list[str]]:
    """Lines under each heading of the assembly's own account."""
    found: dict[str, list[str]] = {}
    heading = ""
    for line in text.splitlines():
        if line.startswith(" "):
            found.setdefault(heading, []).append(line)
        elif line:
            heading = line
    return found


@pytest.fixture
def read(capsys: pytest.CaptureFixture[str]):
    def run(path: Path, *more: str) -> str:
        assert main(["read", str(path), *more]) == 0
        return capsys.readouterr().out

    return run


def test_leads_show_what_each_wire_joins(read) -> None:
    cables = sections(read(DEMO / "bandroom.yaml"))["Cables"]
    assert "  power lead: supply.J2 to amp.J1, 5 wires, 120 mm, 0.5 mm², keyed" in cables
    assert "    3: supply.+15V (rail, 14.9 V) to amp.+15V_IN (rail, 15 V)" in cables


def test_the_case_the_chassis_and_positions_are_shown(read) -> None:
    found = sections(read(DEMO / "bandroom.yaml"))
    assert "  touched by supply.H1, on supply.GND" in found["Case"]
    assert "    PE to stud" in found["Parts in the case"]
    assert "  panel.RV1: 50% of its turn" in found["Positions"]
    assert any("20 K/W to air; insulated: amp.Q101" in line for line in found["Heatsinks"])


def test_what_boards_tell_each_other_is_told_with_what_they_say_alone(read) -> None:
    told = sections(read(DEMO / "bandroom.yaml"))["What the boards tell each other"]
    assert "  panel.LAMP_RETURN: ground; its own board says signal" in told
    on_mains = " ".join(" ".join(told).partition("on the mains: ")[2].split())
    assert "chassis.inlet" in on_mains and "chassis.transformer" in on_mains and "supply" not in on_mains


def test_mains_carries_its_caution_and_each_board_follows(read) -> None:
    text = read(DEMO / "bandroom.yaml")
    assert "Mains voltage kills." in " ".join(text.split())
    assert all(f"\n{name}\n" in text for name in ("supply", "amp", "panel", "chassis"))
    assert "safe" not in text.lower()


def test_what_is_missing_is_listed(read, tmp_path: Path) -> None:
    for name in ("supply", "amp"):
        (tmp_path / f"{name}.net").write_bytes((DEMO / f"{name}.net").read_bytes())
    (tmp_path / "box.yaml").write_text(
        "assembly: box\nboards: {supply: supply.net, amp: amp.net}\n"
        "cables: [{name: power lead, from: supply.J2, to: amp.J1}]\n",
        encoding="utf-8",
    )
    missing = sections(read(tmp_path / "box.yaml"))["Not told"]
    assert "  of the power lead: length and gauge" in missing
    assert {"  what amp.J3 is joined to", "  the case", "  where signals come in and go out"} <= set(missing)


def test_numbers_of_each_board_can_be_had(read) -> None:
    text = read(ROOT / "fixtures" / "assemblies" / "ground-ring" / "cure.yaml", "--numbers")
    assert "source: what it will do" in text and "amp: what it will do" in text
