"""The page as text: complete, escaped, without anything from outside, bounded."""

from __future__ import annotations

import dataclasses
import re
from datetime import datetime
from html.parser import HTMLParser

import pytest
import report_example as example
from markupsafe import Markup

from netcheck.circuit.understanding import Row
from netcheck.report.page import Extras, render_page
from netcheck.review import Review

NOW = datetime(2026, 7, 3, 14, 5)
VOID = {"meta", "br", "link", "hr", "img", "input"}


class Outline(HTMLParser):
    """Tags, ids and links of a page; complains when tags do not nest."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.open: list[str] = []
        self.text: list[str] = []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs
        self.ids += [value or "" for name, value in attrs if name == "id"]
        self.links += [value or "" for name, value in attrs if name == "href"]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open.pop() == tag, f"</{tag}> closes nothing"

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.text.append(data)

    @property
    def words(self) -> str:
        return " ".join(" ".join(self.text).split())


def page(review: Review | None = None, extras: Extras | None = None) -> str:
    return render_page(review or example.review(), NOW, extras)


def test_tags_nest_ids_are_unique_and_links_arrive() -> None:
    outline = Outline(page())
    assert len(outline.ids) == len(set(outline.ids))
    assert {link for link in outline.links if link[1:] not in outline.ids} == set()


def test_first_screen_answers_before_the_details() -> None:
    words = Outline(page()).words
    for told in (
        "Order is held by amp. Power-up is held by supply and amp.",
        "Mains can kill",
        "L reaches the transformer without a fuse on one way.",
        "Put the fuse first after the inlet",
        "What J3 is joined to is not given",
        "15 V output of U3, LM7815",
        "layout: where parts stand",
        "2026-07-02T10:11:12",
    ):
        assert words.index(told) < words.index("may hurt someone"), told


@pytest.mark.parametrize(
    "told",
    [
        "The same at Q3",
        "Put 100 mΩ or more between",
        "adjusted: measured on the first build",
        "common practice, no source",
        "C13 would help, but is not fitted.",
        "nothing to look at",
        "left out: no coil is above 12 V here",
        "house rule",
        "Reads the same turned round",
        "D1 is a reverse-voltage clamp",
        "left open",
        "rules/signal/bias-path.yaml",
        "Remedy: Put 100 mΩ or more there.",
        "amp.net:40",
        "/output L/",
    ],
)
def test_details_tell(told: str) -> None:
    assert told in Outline(page()).words


def test_every_finding_and_undecided_can_be_linked_to() -> None:
    ids = Outline(page()).ids
    review = example.review()
    wanted = {f"f-{v.identity}" for v in review.verdicts if v.outcome in ("finding", "undecided", "set aside")}
    assert wanted <= set(ids)


def test_one_identity_met_twice_is_one_id() -> None:
    twice = example.undecided("a/b", "Q1", "amp/Q1", ("the load is not given",), "damage", "part")
    ids = Outline(page(example.review((twice, twice)))).ids
    assert ids.count(f"f-{twice.identity}") == 1


def test_every_rule_has_an_account() -> None:
    ids = Outline(page()).ids
    assert all(f"r-{a.name.replace('/', '-')}" in ids for a in example.review().accounts)


HOSTILE = '</script><img src=x onerror="alert(1)">\'\u202e{{ 7*7 }}\x1b[31m<b>'


def test_hostile_names_stay_text() -> None:
    review = example.review(name=HOSTILE)
    bad = example.finding(HOSTILE, HOSTILE, "amp/Q1", f"{HOSTILE} is bad.", "damage", "board", remedy=HOSTILE,
                          names=((HOSTILE, HOSTILE),), notes=(HOSTILE,), file=HOSTILE, evidence=(HOSTILE,))  # fmt: skip
    asked = example.undecided(HOSTILE, HOSTILE, HOSTILE, (HOSTILE,), "damage", "board")
    board = dataclasses.replace(
        review.circuit.boards[0],
        netlist=dataclasses.replace(review.circuit.boards[0].netlist, file=HOSTILE, date=HOSTILE, tool=HOSTILE,
                                    oddities=(example.ODDITY,), notes=(HOSTILE,)),
    )  # fmt: skip
    circuit = dataclasses.replace(review.circuit, boards=(board, *review.circuit.boards[1:]))
    told = dataclasses.replace(review.understandings["amp"], rails=(Row((HOSTILE,), HOSTILE, HOSTILE),))
    html = page(
        dataclasses.replace(
            review,
            circuit=circuit,
            verdicts=(*review.verdicts, bad, asked),
            understandings={HOSTILE: told},
            board_gates={HOSTILE: review.gates},
            cautions=(HOSTILE,),
            versions={HOSTILE: HOSTILE},
        )
    )
    outline = Outline(html)
    assert not {"script", "img"} & set(outline.tags)
    assert html.count("<b>") == len([tag for tag in outline.tags if tag == "b"])
    assert not [name for name, _ in outline.attributes if name.startswith("on")]
    assert "\u202e" not in html and "\x1b" not in html
    assert "<U+202E>" in outline.words and "{{ 7*7 }}" in outline.words


def test_nothing_is_loaded_and_nothing_runs() -> None:
    html = page()
    outline = Outline(html)
    assert not {"script", "iframe", "object", "embed", "link", "img", "form"} & set(outline.tags)
    assert all(link.startswith("#") for link in outline.links)
    assert not re.search(r"https?://|url\(|@import", html)
    policy = next(
        value or "" for name, value in outline.attributes if name == "content" and "default-src" in str(value)
    )
    assert "default-src 'none'" in policy and "unsafe" not in policy
    assert not [value for name, value in outline.attributes if name == "style"]


def test_no_verdict_of_safety() -> None:
    assert not re.search(r"\bsafe", Outline(page()).words, re.IGNORECASE)


def test_same_review_same_page() -> None:
    assert page() == page()


def test_drawn_pieces_go_into_their_slots() -> None:
    identity = next(v.identity for v in example.verdicts() if v.rule.startswith("mains"))
    html = page(
        extras=Extras(
            drawings={identity: Markup('<svg role="img"><path d="M0 0"/></svg>')},
            behaviour=Markup("<p>flat to 20 kHz</p>"),
        )
    )
    assert html.index('<path d="M0 0"/>') > html.index("may hurt someone")
    assert "What it will do" in html and "flat to 20 kHz" in html


def test_a_review_without_findings_claims_nothing_more() -> None:
    empty = dataclasses.replace(
        example.review(), verdicts=(), matings=(), cautions=(), assembly_given=False,
        gates={n: example.answer(n, ()) for n in ("order", "power-up")},
        board_gates={"amp": {n: example.answer(n, ()) for n in ("order", "power-up")}},
    )  # fmt: skip
    words = Outline(page(empty)).words
    assert "That says nothing of what was not looked at" in words
    assert "no assembly file was given" in words
    assert "Order is released, as far as was looked." in words


def test_a_large_board_stays_below_three_megabytes() -> None:
    parts = [
        example.part(
            "amp", f"R{n}", "resistor", f"{n}k", {"1": (f"amp/net/N{n}", "end"), "2": ("amp/net/GND", "end")}, n
        )
        for n in range(1, 5001)
    ]
    board = example.board_of("amp", parts, {f"N{n}": ("rail", 5.0, "by its name") for n in range(1, 2000)})
    found = []
    for n in range(1, 5001):
        key = f"amp/R{n}"
        evidence = tuple(f"amp/R{m}" for m in range(1, 60))
        text = f"R{n} sees {n}.5 V; {n} V is the most that a part of its size stands for any length of time."
        found += [
            dataclasses.replace(
                example.finding("a/volts", f"R{n}", key, text, "damage", "part", evidence=evidence), identity=f"a{n:07}"
            ),
            dataclasses.replace(
                example.finding("a/pads", f"R{n}", key, f"R{n} has no footprint.", "make", "part"), identity=f"b{n:07}"
            ),
            dataclasses.replace(
                example.undecided("a/value", f"R{n}", key, (f"R{n} has the value '{n}?'",), "damage", "part"),
                identity=f"c{n:07}",
            ),
            dataclasses.replace(example.verdicts()[-1], rule="a/clear", keys=(key,), identity=f"d{n:07}"),
        ]
    verdicts = tuple(found)
    gates = {name: example.answer(name, verdicts) for name in ("order", "power-up")}
    review = dataclasses.replace(
        example.review(), circuit=example.join((board,)), verdicts=verdicts, gates=gates, board_gates={"amp": gates},
        accounts=example.accounts(verdicts), matings=(),
    )  # fmt: skip
    html = page(review)
    assert len(html.encode()) < 3_000_000
    assert "that this page has no room for" in html
    assert "15000" not in html
