"""Printed pages as a browser shows them: nothing overlaps, nothing is cut off, A4 on paper."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from typing import Any

import pytest
from faultloom.pages import harness_drawing

from printed import JOBS, KINDS, VEHICLES, page, read

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="the browser chromium is not installed")

EVERY = [*JOBS, "hostile"]
WIDTHS = (390, 1280)
SCHEMES = ("light", "dark")
FLAGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-sync"),
    *("--disable-background-networking", "--disable-component-update"),
)
A4_POINT = (595.28, 841.89)  # ISO 216: 210 mm x 297 mm

# Everything that is found wrong with the layout of what is shown, as lines of text.
FAULTS = r"""
() => {
  const faults = [], slack = 0.75;
  const meet = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > slack &&
                         Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > slack;
  const within = (a, b) => a.left >= b.left - slack && a.right <= b.right + slack &&
                           a.top >= b.top - slack && a.bottom <= b.bottom + slack;
  const said = (node) => (node.firstChild?.nodeValue ?? node.textContent ?? '').trim().slice(0, 40);
  const pairs = (items, what) => {
    items.sort((a, b) => a.box.top - b.box.top);
    items.forEach((a, k) => {
      for (const b of items.slice(k + 1)) {
        if (b.box.top > a.box.bottom) break;
        if (a.owner !== b.owner && meet(a.box, b.box)) faults.push(`${what}: ${a.text} | ${b.text}`);
      }
    });
  };
  for (const svg of document.querySelectorAll('svg')) {
    const whole = svg.getBoundingClientRect(), scale = whole.width / svg.viewBox.baseVal.width;
    const texts = [...svg.querySelectorAll('text')].map(
      (node) => ({box: node.getBoundingClientRect(), owner: node, text: said(node)}));
    pairs(texts, 'texts overlap');
    for (const {box, text} of texts)
      if (!within(box, whole)) faults.push(`outside the drawing: ${text}`);
    const symbols = [...svg.querySelectorAll('.sym')].map(
      (node) => ({box: node.getBoundingClientRect(), owner: node, text: 'symbol'}));
    pairs([...symbols], 'symbols overlap');
    for (const one of symbols)
      for (const text of texts)
        if (!text.owner.classList.contains('letter') && meet(one.box, text.box))
          faults.push(`a symbol lies on ${text.text}`);
    for (const part of svg.querySelectorAll('.part')) {
      const tile = part.querySelector('.tile').getBoundingClientRect();
      for (const node of part.querySelectorAll('text, .sym, .box, .dot, .lead'))
        if (!within(node.getBoundingClientRect(), tile))
          faults.push(`outside its tile: ${node.getAttribute('class')} ${said(node)}`);
      for (const cell of part.querySelectorAll('.cell'))
        if (!within(cell.getBoundingClientRect(), tile)) faults.push('a cell outside its tile');
    }
    for (const node of svg.querySelectorAll('rect, path, circle'))
      if (!within(node.getBoundingClientRect(), whole)) faults.push('a shape outside the drawing');
    for (const path of svg.querySelectorAll('.wire, .hot')) {
      const points = path.getAttribute('d').slice(1).split('L').map((p) => p.split(' ').map(Number));
      points.slice(1).forEach(([x, y], k) => {
        const [px, py] = points[k];
        const piece = {left: whole.left + scale * Math.min(x, px) - 1, right: whole.left + scale * Math.max(x, px) + 1,
                       top: whole.top + scale * Math.min(y, py) - 1, bottom: whole.top + scale * Math.max(y, py) + 1};
        for (const text of texts)
          if (meet(piece, text.box)) faults.push(`a wire crosses ${text.text}`);
      });
    }
  }
  const lines = [], walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode, parent = node.parentElement;
    if (!node.nodeValue.trim() || parent.closest('svg, style, thead')) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    // What runs on in one line may touch; one paragraph is one owner.
    const owner = parent.closest('td, th, p, li, h1, h2, dt, dd, div');
    for (const box of range.getClientRects())
      if (box.width > 0) lines.push({box, owner, text: node.nodeValue.trim().slice(0, 40)});
  }
  pairs(lines, 'lines overlap');
  const wide = document.documentElement.clientWidth;
  for (const {box, text} of lines)
    if (box.left < -slack || box.right > wide + slack) faults.push(`cut off at the side: ${text}`);
  if (document.documentElement.scrollWidth > wide) faults.push('the page scrolls sideways');
  return faults;
}
"""

CONTRASTS = r"""
() => {
  const numbers = (color) => color.match(/[\d.]+/g).map(Number);
  const luminance = (color) => {
    const [r, g, b] = numbers(color).slice(0, 3).map((c) => c / 255).map(
      (c) => c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground = luminance(getComputedStyle(document.body).backgroundColor);
  return [...document.querySelectorAll('main *:not(svg *)')].filter((n) => n.innerText?.trim()).map((n) => {
    const ink = luminance(getComputedStyle(n).color);
    return (Math.max(ink, ground) + 0.05) / (Math.min(ink, ground) + 0.05);
  });
}
"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with sync_api.sync_playwright() as playwright:
        running = playwright.chromium.launch(
            executable_path=CHROMIUM, args=list(FLAGS), timeout=180_000
        )
        yield running
        running.close()


@pytest.fixture
def tab(browser: Any) -> Iterator[Any]:
    """A tab in which anything that is fetched, asked or complained about makes the test fail."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    context.set_default_timeout(180_000)
    opened = context.new_page()
    trouble: list[str] = []
    opened.on("request", lambda request: trouble.append(request.url))
    opened.on("dialog", lambda dialog: trouble.append(dialog.message))
    opened.on("console", lambda line: trouble.append(line.text))
    opened.on("pageerror", lambda error: trouble.append(str(error)))
    yield opened
    context.close()
    assert not trouble


def bare(drawing: str) -> str:
    """A drawing alone, as wide as it says."""
    return f'<!doctype html><body style="margin:0;width:max-content">{drawing}'


def faults_of(tab: Any, text: str, width: int, scheme: str = "light") -> list[str]:
    tab.set_viewport_size({"width": width, "height": 900})
    tab.emulate_media(color_scheme=scheme, media="screen")
    tab.set_content(text)
    found: list[str] = tab.evaluate(FAULTS)
    return found


@pytest.mark.parametrize("vehicle_id", VEHICLES)
def test_drawings_of_vehicles(tab: Any, vehicle_id: str) -> None:
    drawn = harness_drawing(read("vehicles", vehicle_id), KINDS)
    assert faults_of(tab, bare(drawn), 1600) == []
    assert tab.evaluate("document.querySelectorAll('.part').length") > 20


@pytest.mark.parametrize("name", EVERY)
def test_drawings_of_jobs(tab: Any, name: str) -> None:
    for drawn in filter(None, (page(name).drawing, page(name).suspects)):
        wide = int(float(re.search(r'viewBox="0 0 ([0-9.]+)', drawn)[1])) + 20
        assert faults_of(tab, bare(drawn), wide) == []


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", EVERY)
def test_pages_on_a_screen(tab: Any, name: str, width: int) -> None:
    for text in (page(name).sheet, page(name).estimate):
        for scheme in SCHEMES:
            assert faults_of(tab, text, width, scheme) == []
            assert min(tab.evaluate(CONTRASTS)) >= 4.5  # WCAG 2.2, 1.4.3


@pytest.mark.parametrize("scheme", SCHEMES)
def test_light_and_dark_are_not_the_same(tab: Any, scheme: str) -> None:
    faults_of(tab, page("rose-walk-no-click").sheet, 1280, scheme)
    for ground in ("document.body", "document.querySelector('svg')"):
        color = tab.evaluate(f"getComputedStyle({ground}).backgroundColor")
        shade = max(int(part) for part in re.findall(r"\d+", color)[:3])
        assert (shade > 200) == (scheme == "light")


@pytest.mark.parametrize("name", EVERY)
def test_pages_on_paper(tab: Any, name: str) -> None:
    for text in (page(name).sheet, page(name).estimate):
        # As wide as the paper between its margins, in CSS pixels of 1/96 inch.
        faults_of(tab, text, round((210 - 24) / 25.4 * 96), "dark")
        tab.emulate_media(media="print", color_scheme="dark")
        assert tab.evaluate(FAULTS) == []
        assert (
            tab.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
        )
        tall = tab.evaluate("document.querySelector('figure')?.getBoundingClientRect().height ?? 0")
        assert tall <= (297 - 26) / 25.4 * 96
        paper = tab.pdf(prefer_css_page_size=True)
        boxes = re.findall(rb"/MediaBox \[0 0 ([0-9.]+) ([0-9.]+)\]", paper)
        count = len(re.findall(rb"/Type /Page\b", paper))
        assert len(boxes) == count
        assert 1 <= count <= (3 if name != "hostile" else 8)
        for box in boxes:
            assert [float(side) for side in box] == pytest.approx(A4_POINT, abs=1)


@pytest.mark.parametrize(
    ("harm", "fault"),
    [
        ("document.querySelector('h2').style.marginTop = '-40px'", "lines overlap"),
        ("document.querySelector('h1').style.cssText = 'white-space:pre;width:999vw'", "sideways"),
        ("document.querySelector('h1').style.marginLeft = '-999px'", "cut off at the side"),
        ("texts[1].setAttribute('y', +texts[0].getAttribute('y') + 4)", "texts overlap"),
        ("document.querySelector('.part text').setAttribute('y', 2)", "outside its tile"),
        ("texts.at(-1).setAttribute('x', 9999)", "outside the drawing"),
        ("symbol.setAttribute('transform', other.getAttribute('transform'))", "symbols overlap"),
        (
            "label.setAttribute('y', 0), label.setAttribute('x', 0), "
            "label.setAttribute('transform', symbol.getAttribute('transform'))",
            "a symbol lies on",
        ),
        (
            "const y = texts[1].getAttribute('y') - 3; wire.setAttribute('d', `M0 ${y}L700 ${y}`)",
            "a wire crosses",
        ),
    ],
)
def test_the_look_at_a_page_finds_what_is_wrong(tab: Any, harm: str, fault: str) -> None:
    assert faults_of(tab, page("glasshouse-coil-return").sheet, 1280) == []
    tab.evaluate(
        "() => { const texts = [...document.querySelectorAll('.part text')],"
        " [symbol, other] = document.querySelectorAll('.sym'),"
        " label = document.querySelector('.part .name'), wire = document.querySelector('.wire, .hot');"
        f" {harm}; }}"
    )
    assert any(fault in found for found in tab.evaluate(FAULTS))
