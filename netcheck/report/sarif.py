"""The review in SARIF 2.1.0 (OASIS Standard, March 2020), for editors and servers that read it.

Each verdict is a result: a finding `fail`, an undecided `open`, a clear `pass`. What was set aside and what a rule
had nothing to look at for is `notApplicable`. Places in the circuit are logical locations whose full names are the
keys; the place in the netlist is the physical location.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from functools import lru_cache
from io import StringIO
from pathlib import PurePath
from typing import Any
from urllib.parse import quote

from netcheck.report.display import Names
from netcheck.report.wording import CONSEQUENCE_WORDS, CURE_WORDS, filled, prose
from netcheck.review import Review, RuleAccount
from netcheck.rulebook.verdicts import Verdict

SCHEMA = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
KINDS = {"finding": "fail", "undecided": "open", "clear": "pass", "set aside": "notApplicable"}
FINGERPRINT = "netcheck/v1"
_MOST_EVIDENCE = 200


def sarif(review: Review) -> dict[str, Any]:
    """The review as a SARIF log, ready for `dumps`."""
    names = Names(review.circuit)
    order = {account.name: place for place, account in enumerate(review.accounts)}
    places: dict[str, dict[str, str]] = {}
    results = [_result(verdict, order, names, places) for verdict in review.verdicts]
    results += [_silent(account, order) for account in review.accounts if not any(account.counts.values())]
    run = {
        "tool": {"driver": _driver(review)},
        "columnKind": "unicodeCodePoints",
        "artifacts": [
            {"location": {"uri": file_uri(board.netlist.file)}, "hashes": {"sha-256": board.netlist.digest}}
            for board in review.circuit.boards
        ],
        "results": results,
        "properties": {
            "assembly": prose(review.name),
            "gates": {name: gate.state for name, gate in review.gates.items()},
            "boardGates": {
                prose(board): {name: gate.state for name, gate in gates.items()}
                for board, gates in review.board_gates.items()
            },
        },
    }
    return {"$schema": SCHEMA, "version": "2.1.0", "runs": [run]}


def dumps(log: dict[str, Any]) -> str:
    """The log as JSON text, the same for the same review: a result a line."""
    (run,) = log["runs"]
    about = json.dumps({key: value for key, value in run.items() if key != "results"}, indent=1)
    head = json.dumps({key: value for key, value in log.items() if key != "runs"}, indent=1)
    text = StringIO()  # piece by piece: put together at once, a large log takes eight times its length
    text.write(head.removesuffix("\n}") + ',\n "runs": [' + about.removesuffix("\n}") + ',\n "results": [\n')
    for place, result in enumerate(run["results"]):
        text.write((",\n" if place else "") + json.dumps(result))
    text.write("\n]}]}\n")
    return text.getvalue()


def level(consequence: str) -> str:
    """How grave a failing result is: 'warning' for performance, else 'error'."""
    return "warning" if consequence == "performance" else "error"


@lru_cache(maxsize=64)
def file_uri(file: str) -> str:
    """A file name as the user gave it, as a URI: relative stays relative.

    >>> file_uri("boards/amp 2.net")
    'boards/amp%202.net'
    """
    path = PurePath(file)
    if path.is_absolute():
        return path.as_uri()
    text = quote(path.as_posix())
    # A colon before the first slash would make the start of the name a scheme.
    return text if ":" not in text.partition("/")[0] else f"./{text}"


def message(text: str) -> dict[str, str]:
    """A message whose text means itself: braces would be placeholders, a bracket before a parenthesis a link.

    >>> message("net {slash}OUT [x](1)")
    {'text': 'net {{slash}}OUT [x] (1)'}
    """
    return {"text": prose(text).replace("{", "{{").replace("}", "}}").replace("](", "] (") or "(nothing told)"}


def _driver(review: Review) -> dict[str, Any]:
    driver: dict[str, Any] = {"name": "netcheck", "rules": [_rule(account) for account in review.accounts]}
    version = review.versions.get("netcheck", "")
    return driver | ({"version": version} if version else {})


def _rule(account: RuleAccount) -> dict[str, Any]:
    limits = {
        name: {"value": value} | ({"because": prose(because)} if because else {})
        for name, value, because in account.limits
    }
    rule: dict[str, Any] = {
        "id": account.name,
        "shortDescription": message(account.title),
        "fullDescription": message(account.why or account.title),
        "defaultConfiguration": {"level": level(account.consequence), "enabled": not account.left_out},
        "properties": {
            "consequence": account.consequence,
            "cure": account.cure,
            "house": not account.supplied,
            "limits": limits,
            "sources": [f"{prose(source.text)} ({source.status})" for source in account.sources],
        },
    }
    help_text = " ".join(text for text in (filled(account), account.caution) if text)
    return rule | ({"help": message(help_text)} if help_text else {})


def _result(verdict: Verdict, order: dict[str, int], names: Names, places: dict[str, dict[str, str]]) -> dict[str, Any]:
    """A verdict as a result. places: of things by key, kept: many results speak of the same ones."""
    failing = verdict.outcome == "finding"
    text = verdict.sentence or f"{verdict.subject}: {verdict.outcome}"
    keys: Sequence[str] = verdict.keys
    if verdict.outcome in ("finding", "undecided"):
        keys = tuple(dict.fromkeys((*verdict.keys, *verdict.evidence[:_MOST_EVIDENCE])))
    result: dict[str, Any] = {
        "ruleId": verdict.rule,
        "kind": KINDS[verdict.outcome],
        "level": level(verdict.consequence) if failing else "none",
        "message": message(text),
        "locations": [_location(verdict, keys, names, places)],
        "partialFingerprints": {FINGERPRINT: verdict.identity},
        "properties": {"outcome": verdict.outcome, "subject": prose(verdict.subject), "boards": list(verdict.boards)},
    }
    if verdict.rule in order:
        result["ruleIndex"] = order[verdict.rule]
    if failing:
        result["properties"] |= {
            "consequence": verdict.consequence,
            "leadsTo": CONSEQUENCE_WORDS.get(verdict.consequence, ""),
            "cure": verdict.cure,
            "mustChange": CURE_WORDS.get(verdict.cure, ""),
            "remedy": prose(verdict.remedy),
        }
    return result


def _location(verdict: Verdict, keys: Sequence[str], names: Names, places: dict[str, dict[str, str]]) -> dict[str, Any]:
    """One location a result: the subject's keys come first among the logical ones, the evidence follows."""
    location: dict[str, Any] = {}
    if keys:
        for key in keys:
            if key not in places:
                told = {"name": names.name(key), "fullyQualifiedName": prose(key), "kind": names.sort_of(key)}
                places[key] = told
        location["logicalLocations"] = [places[key] for key in keys]
    if verdict.file:
        physical: dict[str, Any] = {"artifactLocation": {"uri": file_uri(verdict.file)}}
        if verdict.line > 0:
            physical["region"] = {"startLine": verdict.line}
        location["physicalLocation"] = physical
    return location


def _silent(account: RuleAccount, order: dict[str, int]) -> dict[str, Any]:
    """A rule that judged nothing, with the reason: nothing is passed by silence."""
    text = f"left out: {account.left_out}" if account.left_out else "nothing to look at"
    return {
        "ruleId": account.name,
        "ruleIndex": order[account.name],
        "kind": "notApplicable",
        "level": "none",
        "message": message(text),
        "properties": {"outcome": "left out" if account.left_out else "nothing to look at"},
    }
