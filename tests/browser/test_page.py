"""The published page in a real browser: it asks for nothing, reads on a telephone, and labels stay labels."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hostile import CLOSING, SCRIPT

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext, Page

pytestmark = pytest.mark.browser

PHONE, SIDEWAYS, NARROW, DESK = (390, 844), (844, 390), (320, 640), (1200, 900)

CONTRASTS = """
() => {
  const light = ([r, g, b]) => {
    const part = v => (v /= 255) <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
    return 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b);
  };
  const numbers = text => text.match(/[\\d.]+/g).map(Number);
  const found = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const element = walker.currentNode.parentElement;
    if (!walker.currentNode.textContent.trim() || !element.checkVisibility()) continue;
    let back = [255, 255, 255], opacity = 1;
    for (let up = element; up; up = up.parentElement) opacity *= Number(getComputedStyle(up).opacity);
    for (let up = element; up; up = up.parentElement) {
      const colour = numbers(getComputedStyle(up).backgroundColor);
      if (colour.length < 4 || colour[3] > 0) { back = colour.slice(0, 3); break; }
    }
    const own = numbers(getComputedStyle(element).color).slice(0, 3);
    const ink = own.map((v, i) => v * opacity + back[i] * (1 - opacity));
    const [a, b] = [light(ink), light(back)].sort((x, y) => y - x);
    found.push([(a + 0.05) / (b + 0.05), element.textContent.slice(0, 60)]);
  }
  return found;
}
"""


class Visit:
    """A page that is open, with all that it asked for, said and threw."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.requests: list[str] = []
        self.complaints: list[str] = []
        page.on("request", lambda request: self.requests.append(request.url))
        page.on("console", lambda message: self.complaints.append(message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("dialog", lambda dialog: (self.complaints.append(dialog.message), dialog.dismiss()))

    def open(self, file: Path, size: tuple[int, int] = DESK) -> Page:
        self.page.set_viewport_size({"width": size[0], "height": size[1]})
        self.page.goto(file.as_uri())
        return self.page

    def evaluate(self, script: str) -> Any:
        return self.page.evaluate(script)


FIRST = {"Findings", "In short"}
"""Headings of the first section."""

of_both = pytest.mark.parametrize("which", ["published", "published_study"])
of_all = pytest.mark.parametrize(
    "which", ["published", "published_hostile", "published_study", "published_hostile_study"]
)
of_hostile = pytest.mark.parametrize("which", ["published_hostile", "published_hostile_study"])


@pytest.fixture
def report(which: str, request: pytest.FixtureRequest) -> Path:
    """The report of that name."""
    found: Path = request.getfixturevalue(which)
    return found


def pictures(report: Path) -> int:
    """How many pictures a page has: all that are beside it but slides of single claims."""
    return len([path for path in (report / "figures").glob("*.png") if not path.stem.startswith("claim-")])


@pytest.fixture
def visit(chromium: BrowserContext) -> Iterator[Visit]:
    chromium.set_offline(True)
    yield Visit(chromium.new_page())


@of_both
def test_the_page_opens_offline_and_asks_for_nothing(visit: Visit, report: Path) -> None:
    page = visit.open(report / "index.html")
    page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
    page.wait_for_load_state("networkidle")
    beyond = [url for url in visit.requests if not url.startswith("data:")]
    assert beyond == [(report / "index.html").as_uri()]
    broken = page.evaluate("[...document.images].filter(i => !i.complete || i.naturalWidth === 0).length")
    assert broken == 0
    assert page.locator("img").count() == pictures(report)
    assert visit.complaints == []
    assert page.title() == page.locator("h1").inner_text()


def test_the_page_alone_is_enough(visit: Visit, published: Path, tmp_path: Path) -> None:
    alone = tmp_path / "index.html"
    alone.write_bytes((published / "index.html").read_bytes())
    page = visit.open(alone)
    broken = page.evaluate("[...document.images].filter(i => !i.complete || i.naturalWidth === 0).length")
    assert broken == 0
    assert page.locator("img").count() == pictures(published)


@of_both
def test_every_picture_says_what_it_shows(visit: Visit, report: Path) -> None:
    page = visit.open(report / "index.html")
    said = [image.get_attribute("alt") or "" for image in page.locator("img").all()]
    assert len(set(said)) == len(said)
    assert [text for text in said if len(text) < 60 or not text.endswith(".")] == []
    assert sum(any(sign.isdigit() for sign in text) for text in said) > len(said) / 2


@of_both
def test_the_page_has_landmarks_and_headings_in_order(visit: Visit, report: Path) -> None:
    page = visit.open(report / "index.html")
    levels = visit.evaluate("[...document.querySelectorAll('h1,h2,h3,h4,h5,h6')].map(h => Number(h.tagName[1]))")
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    assert [page.locator(name).count() for name in ("main", "header", "footer", "nav[aria-label]")] == [1, 1, 1, 1]
    assert page.locator("html").get_attribute("lang") == "en"
    assert page.locator("h2").first.inner_text() in FIRST
    outside = visit.evaluate("[...document.body.children].map(e => e.localName)")
    assert outside == ["header", "nav", "main", "footer"]


@of_both
def test_ids_are_unique_and_links_within_the_page_lead_somewhere(visit: Visit, report: Path) -> None:
    visit.open(report / "index.html")
    ids = visit.evaluate("[...document.querySelectorAll('[id]')].map(e => e.id)")
    assert len(ids) == len(set(ids))
    links = visit.evaluate("[...document.querySelectorAll('a')].map(a => a.getAttribute('href'))")
    assert {link[1:] for link in links if link.startswith("#")} <= set(ids)
    assert all((report / link).exists() for link in links if not link.startswith("#"))


@of_both
def test_every_table_has_a_caption_and_headings_that_say_what_they_head(visit: Visit, report: Path) -> None:
    visit.open(report / "index.html")
    assert visit.evaluate("[...document.querySelectorAll('table')].every(t => t.caption?.textContent.trim())")
    assert visit.evaluate("[...document.querySelectorAll('th')].every(h => h.scope && h.textContent.trim())")


@of_all
def test_the_page_never_scrolls_sideways_on_a_telephone(visit: Visit, report: Path) -> None:
    page = visit.open(report / "index.html")
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    for width, height in (PHONE, SIDEWAYS, NARROW):
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate("document.documentElement.scrollWidth") <= width


@of_both
def test_no_table_is_wider_than_a_telephone_turned_sideways(visit: Visit, report: Path) -> None:
    page = visit.open(report / "index.html", SIDEWAYS)
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    widths = page.evaluate("[...document.querySelectorAll('table')].map(t => t.scrollWidth)")
    assert max(widths) <= SIDEWAYS[0]


def test_code_is_there_but_folded(visit: Visit, published: Path) -> None:
    page = visit.open(published / "index.html")
    code = page.get_by_text("import sharpstats as ss")
    assert not code.is_visible()
    page.locator("details.code summary").first.click()
    assert code.is_visible()


@of_both
def test_text_stands_out_from_its_ground(visit: Visit, report: Path) -> None:
    page = visit.open(report / "index.html")
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    contrasts = visit.evaluate(CONTRASTS)
    assert len(contrasts) > 100
    assert [found for found in contrasts if found[0] < 4.5] == []


def test_the_page_prints_without_what_only_a_screen_needs(visit: Visit, published: Path, tmp_path: Path) -> None:
    page = visit.open(published / "index.html")
    page.emulate_media(media="print")
    assert not page.locator("nav").is_visible()
    assert page.locator("details.code").first.is_hidden()
    assert page.locator("h1").is_visible()
    page.pdf(path=tmp_path / "page.pdf")
    assert (tmp_path / "page.pdf").read_bytes().startswith(b"%PDF")


@of_hostile
def test_labels_are_shown_and_nothing_in_them_runs(visit: Visit, report: Path) -> None:
    page = visit.open(report / "index.html")
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    for element in page.locator("section *, header *").all()[:200]:
        element.dispatch_event("mouseover")
    page.wait_for_timeout(200)
    assert page.evaluate("window.hit") is None
    assert page.evaluate("document.scripts.length") == 0
    assert visit.complaints == []
    assert [url for url in visit.requests if not url.startswith("data:")] == [
        (report / "index.html").as_uri()
    ]
    title = page.locator("h1").inner_text()
    assert any(label in title for label in (SCRIPT, CLOSING))
    assert page.title()[:40] == title[:40]
    assert page.locator("a[href^=javascript]").count() == 0


@of_all
def test_pictures_of_their_own_run_nothing_either(visit: Visit, report: Path) -> None:
    for picture in sorted((report / "figures").glob("*.svg")):
        page = visit.open(picture)
        assert page.evaluate("document.documentElement.localName") == "svg", picture.name
        assert page.evaluate("document.querySelectorAll('script, foreignObject, a, image[href^=http]').length") == 0
        assert page.evaluate("window.hit ?? null") is None
        assert page.evaluate("document.documentElement.querySelector('title').textContent.length > 0")
    assert visit.complaints == []
