"""The page in a browser: nothing overflows, nothing is blocked or loaded, the first screen holds what it should."""

from __future__ import annotations

import dataclasses
import os
from collections.abc import Iterator
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
import report_example as example

from netcheck.report.page import render_page

CHROMIUM = Path("/usr/bin/chromium")


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("page") / "page.html"
    path.write_text(render_page(example.review(), datetime(2026, 7, 3, 14, 5)), "utf-8")
    return path.as_uri()


@pytest.fixture(scope="module")
def long_names(tmp_path_factory: pytest.TempPathFactory) -> str:
    long = "NAME_THAT_IS_" + "VERY_" * 20 + "LONG"
    extra = example.finding(f"a/{long}", long, f"amp/net/{long}", f"{long} has no load.", "hazard", "board")
    asked = example.undecided("a/b", long, f"amp/net/{long}", (f"{long} is not given",), "hazard", "board")
    review = example.review((extra, asked), name=long)
    review = dataclasses.replace(
        review,
        board_gates={**review.board_gates, long: review.gates},
        understandings={long: review.understandings["amp"]},
    )
    path = tmp_path_factory.mktemp("page") / "long.html"
    path.write_text(render_page(review, datetime(2026, 7, 3, 14, 5)), "utf-8")
    return path.as_uri()


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    if not CHROMIUM.exists():
        if os.environ.get("CI"):
            pytest.fail(f"{CHROMIUM} is missing, and CI must not skip this")
        pytest.skip(f"{CHROMIUM} is not installed")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
        yield running
        running.close()


def opened(browser: Any, address: str, width: int, height: int, **more: Any) -> tuple[Any, list[str], list[str]]:
    page = browser.new_context(viewport={"width": width, "height": height}, **more).new_page()
    complaints: list[str] = []
    loaded: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("request", lambda request: loaded.append(request.url))
    page.goto(address)
    return page, complaints, loaded


@pytest.mark.parametrize(("width", "height"), [(1280, 900), (390, 844)])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_overflows_is_blocked_or_loaded(
    browser: Any, address: str, long_names: str, width: int, height: int, scheme: str
) -> None:
    page, complaints, loaded = opened(browser, address, width, height, color_scheme=scheme)
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    assert page.evaluate("document.scrollingElement.scrollWidth") <= width
    assert complaints == []
    assert loaded == [address]
    # The style was let in by its hash: the title block has its frame.
    assert page.evaluate("getComputedStyle(document.querySelector('.sheet-head')).borderTopWidth") == "2px"
    page.goto(long_names)
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    assert page.evaluate("document.scrollingElement.scrollWidth") <= width


def test_first_screen_has_gates_and_the_five_gravest(browser: Any, address: str) -> None:
    page, _, _ = opened(browser, address, 1280, 900)
    assert page.locator(".gravest li").count() == 5
    for place in (".gates", ".gravest"):
        box = page.locator(place).bounding_box()
        assert box["y"] + box["height"] <= 900, place
    assert page.locator(".gates tbody tr").all_inner_texts()[0].split() == [
        "supply", "released", "held", "1", "finding,", "1", "open", "answer",
    ]  # fmt: skip


def test_keyboard_reaches_the_findings(browser: Any, address: str) -> None:
    page, _, _ = opened(browser, address, 1280, 900)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the review"
    page.keyboard.press("Enter")
    page.locator(".gravest a").first.focus()
    page.keyboard.press("Enter")
    assert page.evaluate("document.querySelector(':target').matches('.entry')")


def test_headings_do_not_skip_a_level_and_landmarks_are_there(browser: Any, address: str) -> None:
    page, _, _ = opened(browser, address, 1280, 900)
    levels = page.evaluate("[...document.querySelectorAll('h1,h2,h3,h4')].map(one => +one.tagName[1])")
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    for mark in ("header", "nav", "main", "footer"):
        assert page.locator(mark).count() == 1


CONTRAST = """() => {
  const luminance = c => { const v = c.match(/[\\d.]+/g).slice(0, 3).map(x => x / 255)
      .map(x => x <= .04045 ? x / 12.92 : ((x + .055) / 1.055) ** 2.4); return .2126*v[0] + .7152*v[1] + .0722*v[2] };
  const behind = e => { for (; e; e = e.parentElement) { const c = getComputedStyle(e).backgroundColor;
      if (!c.startsWith('rgba(0, 0, 0, 0')) return c } return 'rgb(255,255,255)' };
  const low = new Set();
  for (const e of document.querySelectorAll('body *')) {
    if (![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) continue;
    const [a, b] = [luminance(getComputedStyle(e).color), luminance(behind(e))];
    const ratio = (Math.max(a, b) + .05) / (Math.min(a, b) + .05);
    if (ratio < 4.5) low.add(`${e.tagName}.${e.className} ${ratio.toFixed(2)}`);
  }
  return [...low];
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_has_contrast_enough_to_read(browser: Any, address: str, scheme: str) -> None:
    """WCAG 2.1, success criterion 1.4.3: 4.5 to 1; luminance as defined there."""
    page, _, _ = opened(browser, address, 1280, 900, color_scheme=scheme)
    assert page.evaluate(CONTRAST) == []


def test_prints_with_everything_open(browser: Any, address: str) -> None:
    page, _, _ = opened(browser, address, 794, 1123)
    closed = page.locator("#accounts details .limits").first
    assert not closed.is_visible()
    page.emulate_media(media="print")
    assert closed.is_visible()
    assert not page.locator("nav").is_visible()
    assert page.evaluate("document.scrollingElement.scrollWidth") <= 794
    paper = page.pdf(prefer_css_page_size=True)
    assert paper.startswith(b"%PDF") and len(paper) > 20_000
