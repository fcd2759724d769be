"""Numbers as a page tells them: the most with controls open, what the told input makes, half a turn by the taper."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from conftest import ROOT
from test_told_ends import AT_J1, AT_J2, told

from netcheck.intake.assemblycheck import open_assembly
from netcheck.physics.behaviour import NO_LIMIT, LoadLevel, PathBehaviour
from netcheck.report.display import Names
from netcheck.report.doings import doings
from netcheck.report.doingtables import driven_table
from netcheck.report.figures import apart, behaviour_text, level_text, told_text
from netcheck.report.plots import strays_by
from netcheck.review import Review, plan_of, review
from netcheck.rulebook.doing import numbers_of

VOLUME = """\
RV1 potentiometer 10k 1=GND 2=W 3=P {taper}
U1 NE5532 1=O 2=FB 3=W 4=-15V 5=GND 6=X 7=X 8=+15V
R3 2k FB GND
R4 8k O FB
R2 100R O OUT
J1 jack T=P S=GND
J2 jack T=OUT S=GND
J9 header keyed 1=+15V 2=GND 3=-15V
"""


def way(tmp_path: Path, book, turn: str, taper: str = "") -> PathBehaviour:
    circuit = VOLUME.format(taper=taper)
    facts = told(tmp_path, book, circuit, AT_J1, AT_J2, more=f"      positions: {{sample.RV1: {turn}}}")
    (path,) = numbers_of(facts, "sample").paths
    return path


def test_the_most_does_not_depend_on_where_the_volume_control_stands(tmp_path: Path, book) -> None:
    low, open_ = way(tmp_path, book, "10 %"), way(tmp_path, book, "100 %")
    for here, there in zip(low.loads, open_.loads, strict=True):
        assert here.volts == pytest.approx(there.volts, rel=1e-6) and here.ends
        assert here.limit == there.limit
        assert here.told is not None and there.told is not None and here.told < there.told / 2
    unloaded, heavy = low.loads[0], low.loads[-1]
    # 2 V behind 10k into a track of 10k: 1 V at its top, a tenth of it five times amplified.
    assert unloaded.told == pytest.approx(0.5, rel=0.2)
    assert heavy.told_loudness is not None and heavy.loudness is not None and heavy.told_loudness < heavy.loudness
    assert "dB SPL" in told_text(heavy)


def test_what_the_told_input_makes_is_no_more_than_the_stage_can_give(tmp_path: Path, book) -> None:
    facts = told(tmp_path, book, VOLUME.format(taper=""), AT_J1.replace("2 V", "20 V"), AT_J2,
                 more="      positions: {sample.RV1: 100 %}")  # fmt: skip
    (path,) = numbers_of(facts, "sample").paths
    assert path.loads[0].told == path.loads[0].volts


def test_the_end_of_a_search_is_no_maximum() -> None:
    level = LoadLevel(32.0, 4.4, 0.195, 0.6, NO_LIMIT, 3.0)
    assert level_text(level).startswith("at least 4.4 V rms")
    assert level_text(replace(level, limit="the output of U1A reaches its supply")).startswith("4.4 V rms")
    assert told_text(level) == ""


@pytest.fixture(scope="module")
def revision_b(book) -> Review:
    assembly, netlists = open_assembly(ROOT / "fixtures" / "bandroom" / "revision-b" / "bandroom.yaml", cache=False)
    return review(plan_of(assembly, netlists, book), numbers=True)


def test_the_loudest_is_one_figure_in_the_table_the_rule_and_at_the_head(revision_b: Review) -> None:
    levels = [level for found in revision_b.behaviour.values() for path in found.paths for level in path.loads]
    most = f"{max(level.loudness for level in levels if level.loudness is not None):.0f} dB SPL"
    because = {v.sentence for v in revision_b.verdicts if v.rule == "output-stage/load-drive"}
    assert because and all(most in sentence for sentence in because)
    assert any(f"up to {most} into 32 Ω at panel.J6.T" in caution for caution in revision_b.cautions)


def test_the_head_has_the_caution_on_heat_with_the_hottest_part(revision_b: Review) -> None:
    (caution,) = (one for one in revision_b.cautions if "hot enough to burn" in one)
    (row,) = (row for row in revision_b.behaviour["supply"].supplies if row.part == "supply/U1")
    assert row.watts is not None and row.watts > 3 and row.junction is not None and row.junction > 60
    assert "W in supply.U1" in caution and "°C inside" in caution


def test_paths_of_a_box_stand_under_its_name_by_their_sockets(revision_b: Review) -> None:
    first, *boards = doings(revision_b, Names(revision_b.circuit))
    assert first.board == "Bandroom monitor" and first.driven is not None
    assert first.tables[0].heads[1].startswith("panel.J4 tip (IN_L) to panel.J6 tip")
    assert not any(board.tables or board.driven for board in boards)
    whole, rest = apart(tuple(revision_b.behaviour.values()), "box")
    assert whole is not None and len(whole.paths) == 2
    assert not any("no input from which" in behaviour_text(one, revision_b.circuit, elsewhere=True) for one in rest)
    # The same figure on the page and in the terminal.
    stray = f"within {strays_by(whole.paths[0], 20.0, 20e3):.2f} dB"
    assert stray in behaviour_text(whole, revision_b.circuit)
    assert any(stray in row[1] for row in first.tables[0].rows)


def test_what_the_supplies_tell_is_not_told_as_unknown(revision_b: Review) -> None:
    told = behaviour_text(revision_b.behaviour["supply"], revision_b.circuit)
    assert "+RAW: rectified from" in told and "transformer does at its pins" not in told


def test_a_rating_in_free_air_says_nothing_of_what_is_on_a_heatsink(revision_b: Review) -> None:
    (device,) = (one for one in revision_b.behaviour["panel"].devices if one.part == "amp/Q101")
    assert device.mounted and device.rating is None and device.celsius[1] is not None
    table = driven_table([device], Names(revision_b.circuit))
    assert table is not None and "on a heatsink: see inside" in table.rows[0]


def test_rails_are_told_at_the_end_that_is_fed(revision_b: Review) -> None:
    rails = {row.key for row in revision_b.behaviour["amp"].rails}
    assert {"amp/net/+15V_IN", "amp/net/-15V_IN"} <= rails
    assert not {"amp/net/+15V", "amp/net/-15V"} & rails
