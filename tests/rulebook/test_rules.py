"""Every supplied rule holds by its own samples, and a sample notices every change to it."""

from __future__ import annotations

import pytest

from netcheck.rulebook.book import rule_files, supplied_folder
from netcheck.rulebook.prove import prove

NAMES = [f"{path.parent.name}/{path.stem}" for path in rule_files(supplied_folder())]


@pytest.mark.parametrize("name", NAMES)
def test_rule_holds_when_tried_and_when_broken(name: str, book) -> None:
    rule = book.rule(name)
    assert rule is not None
    proof = prove(rule, book, break_it=True)
    assert not proof.failures
    assert not proof.gaps
    assert not proof.unbroken


def test_there_are_rules() -> None:
    assert len(NAMES) >= 6
