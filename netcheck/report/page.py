"""The review as one HTML page: self-contained, without scripts, bounded in size.

The page is put together from the parts in `templates/`. Whatever comes from a netlist or a rule passes through
`prose` (control and direction marks made visible, length bounded) and through the escaping of jinja2.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from netcheck.circuit.model import Net
from netcheck.circuit.understanding import Row, Understanding
from netcheck.gates import Gate
from netcheck.ground.names import natural_key, plain
from netcheck.ground.units import VOLT, show
from netcheck.report import wording
from netcheck.report.display import Names
from netcheck.report.doings import doings, least_ratings
from netcheck.report.groundmap import ground_map
from netcheck.report.grouping import Entry, Group, Question, asides, findings, mating_tables, questions
from netcheck.review import Review, RuleAccount
from netcheck.rulebook.verdicts import CONSEQUENCES, CURES, OUTCOMES, Verdict

# Bounds of the page, so that a board of thousands of parts stays readable and below 3 MB. What is beyond a bound
# is counted and said; SARIF has it all.
MOST = {
    "gravest": 5,
    "questions first": 5,
    "holding": 6,
    "rows first": 8,
    "entries in full": 12,
    "entries": 300,
    "alike": 200,
    "all entries": 3000,
    "evidence": 14,
    "related": 4,
    "waiting": 40,
    "asides": 40,
    "rails": 150,
    "matings": 40,
    "mating rows": 64,
    "rows": 120,
    "references": 60,
}


@dataclass(frozen=True)
class Extras:
    """Parts of the page that others draw; each a piece of finished HTML or SVG without scripts and style attributes.

    Attributes:
        drawings: by identity of a finding, shown beside it. decisions: by identity.
        behaviour: stands at the head of what the circuit will do.
    """

    drawings: Mapping[str, Markup] = field(default_factory=dict)
    decisions: Mapping[str, Markup] = field(default_factory=dict)
    behaviour: Markup = field(default_factory=Markup)


def render_page(review: Review, generated: datetime, extras: Extras | None = None) -> str:
    """The whole page as text.

    Args:
        review: what was found.
        generated: shown in the title block; the caller's clock, so that the same review gives the same page.
        extras: drawn pieces for the slots of the page.
    """
    names = Names(review.circuit)
    style = _templates().get_template("sheet.css").render()
    groups = findings(review.verdicts, review.circuit)
    context = {
        "review": review,
        "names": names,
        "generated": generated.strftime("%Y-%m-%d %H:%M"),
        "extras": extras or Extras(),
        "style": Markup(style),
        "style_digest": style_digest(style),
        "groups": groups,
        "shown": _within_bounds(groups),
        "related": _related(groups, review),
        "questions": questions(review.verdicts, review.circuit),
        "asides": asides(review.verdicts),
        "mating_tables": mating_tables(review.matings),
        "accounts": {account.name: account for account in review.accounts},
        "families": _families(review.accounts),
        "tally": {outcome: sum(v.outcome == outcome for v in review.verdicts) for outcome in OUTCOMES},
        "rails": _rails(review),
        "ground_map": ground_map(review, names),
        "doings": doings(review, names),
        "ratings": least_ratings(review, names),
        "consequences": CONSEQUENCES,
        "cures": CURES,
        "most": MOST,
        "id_once": _id_once(),
    }
    return _templates().get_template("page.html").render(context)


def style_digest(style: str) -> str:
    """The hash by which the content security policy lets in this style and no other."""
    return "sha256-" + base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()


def _finalize(value: object) -> object:
    """What every expression of a template passes through on its way to the page."""
    if isinstance(value, Markup):
        return value
    # Blanks at either end stay: a template writes ", " between things.
    return plain(wording.BLANKS.sub(" ", str(value)), 20_000)


@cache
def _templates() -> Environment:
    environment = Environment(
        loader=PackageLoader("netcheck.report"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_finalize,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=False,
    )
    environment.globals |= {
        "anchor": anchor,
        "voltage": voltage,
        "row_text": row_text,
        "by_rule": by_rule,
        "evidence_keys": evidence_keys,
        "holding": holding,
        "gates_held": gates_held,
        "opening": wording.opening,
        "waiting_for": waiting_for,
        "first_rows": first_rows,
        "outcome_words": outcome_words,
        "filled": wording.filled,
        "wording": wording,
        "counted": wording.counted,
        "clip": wording.clip,
        "headline": wording.headline,
    }
    return environment


def anchor(kind: str, name: str) -> str:
    """An id for the page: letters, digits and hyphens only.

    >>> anchor("r", "supply/rail-fed")
    'r-supply-rail-fed'
    """
    return f"{kind}-{re.sub(r'[^A-Za-z0-9]+', '-', name)[:80]}"


def _id_once() -> Callable[[str, str], Markup]:
    """A function that writes an id attribute the first time that a name comes, and nothing after."""
    seen: set[str] = set()

    def write(kind: str, name: str) -> Markup:
        found = anchor(kind, name)
        if found in seen:
            return Markup("")
        seen.add(found)
        return Markup(' id="{}"').format(found)

    return write


def voltage(net: Net) -> str:
    """The volts of a rail: nominal, and the range where there is one.

    >>> voltage(Net("a/net/X", "a", "X", "1", (), "rail", 15.0, 14.4, 15.6))
    '15 V (14.4 V to 15.6 V)'
    """
    spread = ""
    if net.low is not None and net.high is not None and net.low != net.high:
        spread = f"{show(net.low, VOLT)} to {show(net.high, VOLT)}"
    if net.volts is None:
        return spread or (f"{net.sign}, volts not known" if net.sign else "not known")
    return show(net.volts, VOLT) + (f" ({spread})" if spread else "")


def row_text(row: Row, names: Names) -> str:
    """A row of an understanding as one text; the names stand before it unless it has them already."""
    missing = [key for key in row.keys if names.name(key) not in row.what and key.split("/")[-1] not in row.what]
    return f"{names.listed(missing, MOST['references'])}: {row.what}" if missing else row.what


def first_rows(understanding: Understanding) -> tuple[tuple[str, tuple[Row, ...]], ...]:
    """What the first screen tells of a board, under its headings."""
    return (
        ("Rails", understanding.rails),
        ("Grounds", understanding.grounds),
        ("Amplifiers", understanding.amplifiers),
        ("Stages", understanding.stages),
        ("In and out", understanding.connectors),
        ("Not understood", understanding.not_understood),
    )


def by_rule(verdicts: Iterable[Verdict]) -> dict[str, list[Verdict]]:
    """Verdicts under the names of their rules."""
    found: dict[str, list[Verdict]] = {}
    for verdict in verdicts:
        found.setdefault(verdict.rule, []).append(verdict)
    return found


def evidence_keys(verdict: Verdict) -> tuple[str, ...]:
    """Keys of the subject, then of whatever else was looked at."""
    return tuple(dict.fromkeys((*verdict.keys, *verdict.evidence)))


def holding(gates: Mapping[str, Gate], review: Review) -> tuple[Group, ...]:
    """What holds any of a board's gates, in groups."""
    held = {verdict.identity: verdict for gate in gates.values() for verdict in gate.held_by}
    return findings((verdict for verdict in review.verdicts if verdict.identity in held), review.circuit)


def gates_held(group: Group, gates: Mapping[str, Gate]) -> str:
    """The gates that findings of a group hold: "order and power-up"."""
    identities = {verdict.identity for entry in group.entries for verdict in entry.verdicts}
    held = [name for name, gate in gates.items() if any(verdict.identity in identities for verdict in gate.held_by)]
    return " and ".join(held)


def outcome_words(account: RuleAccount) -> str:
    """How a rule came out, in words: "2 findings, 14 clear", "nothing to look at", "left out"."""
    if account.left_out:
        return "left out"
    counts = account.counts
    words = [wording.counted(counts["finding"], "finding")] if counts.get("finding") else []
    words += [f"{counts[outcome]} {outcome}" for outcome in OUTCOMES[1:] if counts.get(outcome)]
    return ", ".join(words) or "nothing to look at"


def _families(accounts: Iterable[RuleAccount]) -> dict[str, list[RuleAccount]]:
    found: dict[str, list[RuleAccount]] = {}
    for account in accounts:
        found.setdefault(account.name.partition("/")[0], []).append(account)
    return found


def _rails(review: Review) -> tuple[Net, ...]:
    """Rails, then grounds, mains and earth, each board's in natural order."""
    order = ("rail", "ground", "mains", "earth", "chassis")
    nets = [net for net in review.circuit.nets.values() if net.role in order]
    return tuple(sorted(nets, key=lambda net: (order.index(net.role), natural_key(net.key))))


def _within_bounds(groups: Iterable[Group]) -> dict[int, int]:
    """How many entries of each group (by its place) are shown, so that all of them together stay bounded."""
    left = MOST["all entries"]
    shown: dict[int, int] = {}
    for place, group in enumerate(groups):
        # Even when the page is full, one entry of each sort is shown.
        shown[place] = max(1, min(len(group.entries), MOST["entries"], left))
        left -= shown[place]
    return shown


def _related(groups: Iterable[Group], review: Review) -> dict[str, tuple[Verdict, ...]]:
    """For the leading verdict of each entry: what other rules found on the same parts."""
    on_part: dict[str, list[tuple[Group, Entry]]] = {}
    listed = [(group, entry) for group in groups for entry in group.entries]
    for group, entry in listed:
        for part in _parts_of(entry.lead, review):
            on_part.setdefault(part, []).append((group, entry))
    found: dict[str, tuple[Verdict, ...]] = {}
    for group, entry in listed:
        others: dict[str, Verdict] = {}
        for part in _parts_of(entry.lead, review):
            for other_group, other in on_part[part][: 4 * MOST["related"]]:
                if other_group.rule != group.rule:
                    others.setdefault(other.lead.identity, other.lead)
        found[entry.lead.identity] = tuple(others.values())[: MOST["related"]]
    return found


def _parts_of(verdict: Verdict, review: Review) -> tuple[str, ...]:
    """Keys of the parts that a verdict is about; things of an assembly that are no parts are left out."""
    circuit = review.circuit
    owners: dict[str, None] = {}
    for key in verdict.keys:
        owner = circuit.pins.get(key) or circuit.amplifiers.get(key)
        part = owner.part if owner else key
        if part in circuit.parts:
            owners[part] = None
    return tuple(owners)


def waiting_for(gate: Gate, review: Review) -> tuple[Question, ...]:
    """The questions that keep a gate from being released."""
    return questions(gate.waits_for, review.circuit)
