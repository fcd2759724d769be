"""What belongs together: one cause one entry, equal channels one entry, undecided by what is missing."""

from __future__ import annotations

import dataclasses

import report_example as example
from hypothesis import given, settings
from hypothesis import strategies as st

from netcheck.report import grouping
from netcheck.rulebook.verdicts import CONSEQUENCES

CIRCUIT = example.circuit()


def test_equal_channels_are_one_entry_and_different_devices_are_not() -> None:
    group = next(g for g in grouping.findings(example.verdicts(), CIRCUIT) if g.rule.startswith("output-stage"))
    assert [[v.subject for v in entry.verdicts] for entry in group.entries] == [["Q1", "Q3"], ["Q2", "Q4"]]
    assert group.size == 4


def test_equal_parts_with_other_numbers_stay_two_entries_of_one_group() -> None:
    near = example.finding("a/b", "Q1", "amp/Q1", "Q1 sees 12 V; 10 V is the most.", "damage", "part")
    far = example.finding("a/b", "Q3", "amp/Q3", "Q3 sees 30 V; 10 V is the most.", "damage", "part")
    (group,) = grouping.findings([near, far], CIRCUIT)
    assert [entry.lead.subject for entry in group.entries] == ["Q1", "Q3"]


def test_one_identity_is_one_finding() -> None:
    once = example.finding("a/b", "Q1", "amp/Q1", "Q1 is hot.", "damage", "part")
    again = dataclasses.replace(once, failures=(dataclasses.replace(once.failures[0], sentence="Q1 is hot too."),))
    groups = grouping.findings([once, again, once], CIRCUIT)
    assert sum(g.size for g in groups) <= 2
    assert grouping.findings([once, once], CIRCUIT)[0].size == 1


def test_gravest_first_and_the_board_before_the_part() -> None:
    groups = grouping.findings(example.verdicts(), CIRCUIT)
    ranks = [CONSEQUENCES.index(group.consequence) for group in groups]
    assert ranks == sorted(ranks)
    cures = [group.cure for group in groups if group.consequence == "performance"]
    assert cures == ["board", "part"]


def test_every_finding_is_in_exactly_one_entry() -> None:
    identities = sorted(v.identity for v in example.verdicts() if v.outcome == "finding")
    groups = grouping.findings(example.verdicts(), CIRCUIT)
    assert sorted(v.identity for g in groups for e in g.entries for v in e.verdicts) == identities


def test_undecided_of_one_shape_are_one_question() -> None:
    asked = grouping.questions(example.verdicts(), CIRCUIT)
    joined = next(q for q in asked if "joined" in q.reason)
    assert (joined.reason, joined.others) == ("what J3 is joined to is not given", ("J4",))
    assert (joined.touches, joined.settles, len(joined.waiting)) == (4, 4, 4)
    assert asked[0] is joined, "the answer that settles most comes first"


def test_a_verdict_waits_under_one_question_and_counts_for_both() -> None:
    two = example.undecided(
        "a/b", "Q1", "amp/Q1", ("the load is not given", "R7 has the value 'TBD'"), "damage", "part"
    )
    one = example.undecided("a/b", "Q3", "amp/Q3", ("the load is not given",), "damage", "part")
    load, value = grouping.questions([two, one], CIRCUIT)
    assert (load.touches, load.settles, len(load.waiting)) == (2, 1, 2)
    assert (value.touches, value.settles, value.waiting) == (1, 0, ())


def test_an_undecided_hazard_is_asked_first() -> None:
    hazard = example.undecided("mains/x", "F1", "supply/F1", ("the switch is not given",), "hazard", "wiring")
    assert grouping.questions((*example.verdicts(), hazard), CIRCUIT)[0].reason == "the switch is not given"


def test_matings_show_what_differs_and_praise_what_reads_the_same() -> None:
    power, mains = grouping.mating_tables(example.matings())
    assert [label for label, _ in power.ways] == ["right", "turned", "shifted by one pin towards pin 3"]
    assert [[cell.same for cell in cells] for _, _, cells in power.rows] == [
        [True, False, False],
        [True, True, False],
        [True, False, False],
    ]
    assert power.rows[0][2][2].there is None
    assert (power.same_turned, mains.same_turned) == (False, True)


def test_a_lone_wrong_way_is_listed_as_wrong() -> None:
    (table,) = grouping.mating_tables([m for m in example.matings() if m.way == "turned" and m.cable])
    assert table.wrong_ways == ("turned",)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.sampled_from(["Q1", "R7", "amp.Q1", "is", "4.7 kΩ", "and", ",", "12", "+15V", "x\u202e"]), max_size=12)
)
def test_a_shape_has_no_name_left_and_is_a_fixed_point(words: list[str]) -> None:
    names = grouping.known_names(CIRCUIT)
    shape = grouping.sentence_shape(" ".join(words), names)
    assert not any(name in shape.split() for name in ("Q1", "R7", "amp.Q1", "+15V"))
    assert grouping.sentence_shape(shape, names) == shape
