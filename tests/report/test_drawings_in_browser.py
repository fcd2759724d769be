"""Ground map and plots in a browser: they fit, can be read on a telephone, in the dark and on paper."""

from __future__ import annotations

import os
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from netcheck.intake.assemblycheck import open_assembly
from netcheck.report.page import render_page
from netcheck.review import plan_of, review
from netcheck.rulebook.book import load_rule_book

CHROMIUM = Path("/usr/bin/chromium")
ROOT = Path(__file__).parents[2]
LEAST_LETTERS = 9.0  # pixels; below this nobody reads


@pytest.fixture(scope="module")
def addresses(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    book = load_rule_book()
    found = {}
    for revision in "ab":
        assembly, netlists = open_assembly(ROOT / f"fixtures/bandroom/revision-{revision}/bandroom.yaml")
        path = tmp_path_factory.mktemp(revision) / "page.html"
        whole = review(plan_of(assembly, netlists, book), numbers=True)
        path.write_text(render_page(whole, datetime(2026, 7, 3, 14, 5)), "utf-8")
        found[revision] = path.as_uri()
    return found


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


def opened(browser: Any, address: str, width: int, **more: Any) -> tuple[Any, list[str]]:
    page = browser.new_context(viewport={"width": width, "height": 900}, **more).new_page()
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.goto(address)
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    return page, complaints


@pytest.mark.parametrize("revision", ["a", "b"])
@pytest.mark.parametrize("width", [1280, 390])
def test_drawings_fit_and_can_be_read(browser: Any, addresses: dict[str, str], revision: str, width: int) -> None:
    page, complaints = opened(browser, addresses[revision], width)
    assert complaints == []
    assert page.evaluate("document.scrollingElement.scrollWidth") <= width
    assert page.locator("svg.map").count() == 1
    least = page.evaluate(
        """() => Math.min(...[...document.querySelectorAll('svg text')].map(one => {
             const drawing = one.ownerSVGElement;
             return parseFloat(getComputedStyle(one).fontSize)
               * drawing.getBoundingClientRect().width / drawing.viewBox.baseVal.width }))"""
    )
    assert least >= LEAST_LETTERS
    # Nothing is drawn beyond the edge of its drawing.
    outside = page.evaluate(
        """() => [...document.querySelectorAll('svg text')].filter(one => {
             const box = one.getBBox(), view = one.ownerSVGElement.viewBox.baseVal;
             return box.x < -1 || box.y < -1 || box.x + box.width > view.width + 1
               || box.y + box.height > view.height + 1
           }).map(one => one.textContent)"""
    )
    assert outside == []


def test_ring_and_plots_are_there(browser: Any, addresses: dict[str, str]) -> None:
    page, _ = opened(browser, addresses["a"], 1280)
    assert page.locator("#grounds .ring").count() >= 4
    page, _ = opened(browser, addresses["b"], 1280)
    assert page.locator("#grounds .ring").count() == 0
    assert page.locator("svg.plot").count() == 4
    assert page.locator("svg.plot .wanted").count() == 4
    # Both channels beside each other on a wide screen.
    left, right = (page.locator(".plots figure").nth(place).bounding_box() for place in (0, 1))
    assert left["y"] == right["y"] and left["x"] + left["width"] <= right["x"]


INK = """() => {
  const luminance = c => { const v = c.match(/[\\d.]+/g).slice(0, 3).map(x => x / 255)
      .map(x => x <= .04045 ? x / 12.92 : ((x + .055) / 1.055) ** 2.4); return .2126*v[0] + .7152*v[1] + .0722*v[2] };
  const ratio = (a, b) => (Math.max(a, b) + .05) / (Math.min(a, b) + .05);
  const low = [];
  for (const one of document.querySelectorAll('svg text, svg .curve, svg .wire')) {
    const style = getComputedStyle(one), letters = one.tagName === 'text';
    const behind = one.classList.contains('badge-number') ? getComputedStyle(document.querySelector('svg .badge')).fill
        : getComputedStyle(one.closest('figure')).backgroundColor;
    const found = ratio(luminance(letters ? style.fill : style.stroke), luminance(behind));
    if (found < (letters ? 4.5 : 3)) low.push(`${one.getAttribute('class')} ${found.toFixed(2)}`);
  }
  return [...new Set(low)];
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("revision", ["a", "b"])
def test_drawings_have_contrast(browser: Any, addresses: dict[str, str], revision: str, scheme: str) -> None:
    """WCAG 2.1, 1.4.3 and 1.4.11: 4.5 to 1 for letters, 3 to 1 for lines."""
    page, _ = opened(browser, addresses[revision], 1280, color_scheme=scheme)
    assert page.evaluate(INK) == []


def test_drawings_have_names_and_words(browser: Any, addresses: dict[str, str]) -> None:
    page, _ = opened(browser, addresses["b"], 1280)
    for drawing in page.locator("svg").all():
        for name in drawing.get_attribute("aria-labelledby").split():
            assert page.locator(f"#{name}").text_content()


def test_drawings_print(browser: Any, addresses: dict[str, str]) -> None:
    page, _ = opened(browser, addresses["a"], 794)
    page.emulate_media(media="print")
    assert page.evaluate("document.scrollingElement.scrollWidth") <= 794
    box = page.locator("svg.map").bounding_box()
    assert box["x"] + box["width"] <= 794
