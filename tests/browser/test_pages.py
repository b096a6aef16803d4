"""Pages of the examples in a real browser: nothing at the console, nothing fetched, whole on paper, fit for everybody.

The gallery is fresh. One test a page, as making it takes longer than looking at it.
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.gallery import EXAMPLES, made, words_of

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
MARGINS = (16.0 + 18.0, 15.0 + 15.0)  # of page.css, upright and across [mm]
# Contrast looks at every cell of a table, and all pages have one style: light and dark of small ones, with an alarm.
SMALL = ("plan", "alarm", "calibration")
WITHOUT_CONTRAST = {"rules": {"color-contrast": {"enabled": False}}}
PIXEL = 25.4 / 96.0  # mm


@pytest.mark.parametrize("name", EXAMPLES)
def test_an_example(request: pytest.FixtureRequest, name: str) -> None:
    html, figures = made(name)
    for figure in EXAMPLES[name].shown:
        stored = EXAMPLES[name].file(figure)
        assert words_of(stored.read_bytes()) == words_of(figures[figure]), "run: python -m tests.gallery"
    assert len(html.encode()) < 1_000_000
    opened = request.getfixturevalue("opened")  # skipped from here on where there is no browser
    shown = opened(html, viewport={"width": 1000, "height": 900})
    opens_with_its_answer(shown)
    names_its_figures(shown)
    fit_for_everybody(shown, **({} if name in SMALL else WITHOUT_CONTRAST))
    keeps_within(shown, 1000)
    shown.set_viewport_size({"width": 360, "height": 900})
    keeps_within(shown, 360)
    if name in SMALL:
        shown.emulate_media(color_scheme="dark")
        fit_for_everybody(shown, runOnly=["color-contrast"])
    for paper in PAPERS:
        whole_on(shown, paper)


def opens_with_its_answer(shown: Any) -> None:
    assert shown.locator("h1").count() == 1
    assert len(shown.locator("#answer .answer").inner_text()) > 20


def names_its_figures(shown: Any) -> None:
    """Each figure has its words; each link leads to a place."""
    for alt, wide in shown.evaluate("[...document.images].map(i => [i.alt, i.naturalWidth])"):
        assert len(alt) > 20
        assert wide > 100
    lost = "[...document.querySelectorAll('a[href^=\"#\"]')].filter(a => !document.getElementById(a.hash.slice(1)))"
    assert shown.evaluate(f"{lost}.map(a => a.hash)") == []


def fit_for_everybody(shown: Any, **options: Any) -> None:
    """Contrast, labels, order of headings, names of regions, by the rules of a kept checker."""
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(shown, options=options or None).response["violations"]
    assert {rule["id"]: [node["html"][:120] for node in rule["nodes"][:3]] for rule in found} == {}


def keeps_within(shown: Any, width: int) -> None:
    """No page is wider than its window; what is wider scrolls by itself, by the keyboard too."""
    assert shown.evaluate("document.documentElement.scrollWidth") <= width
    scrolls = "e => e.scrollWidth > e.clientWidth && e.tabIndex < 0"
    assert shown.evaluate(f"[...document.querySelectorAll('.wide, pre')].filter({scrolls}).length") == 0


def whole_on(shown: Any, paper: str) -> None:
    """A figure is no taller and no wider than what a sheet leaves, and breaks over no two."""
    wide, tall = (size - margin for size, margin in zip(PAPERS[paper], reversed(MARGINS), strict=True))
    shown.set_viewport_size({"width": round(wide / PIXEL), "height": 900})
    shown.emulate_media(media="print", color_scheme="light")
    boxes = "[...document.querySelectorAll('figure')].map(f => [f.offsetWidth, f.offsetHeight, getComputedStyle(f)])"
    for across, upright, breaks in shown.evaluate(f"{boxes}.map(([w, h, s]) => [w, h, s.breakInside])"):
        assert across * PIXEL <= wide + 0.5
        assert upright * PIXEL <= tall
        assert breaks == "avoid"
    assert shown.pdf(format=paper).startswith(b"%PDF")


def test_the_first_key_leads_to_the_answer(opened: Any) -> None:
    shown = opened(made("batch")[0], viewport={"width": 360, "height": 700})
    shown.keyboard.press("Tab")
    assert shown.evaluate("document.activeElement.className") == "skip"
    shown.keyboard.press("Enter")
    assert shown.evaluate("location.hash") == "#answer"


def test_titles_are_words_and_nothing_else(opened: Any) -> None:
    """A script in a title, a note or the name of a flow stays text."""
    import flowrig
    from flowrig.report.figures.all import pictures_of
    from flowrig.report.page.render import page_html
    from flowrig.report.text import result_blocks
    from tests.studies.records import nozzle

    evil = "<script>document.title='broken'</script>\"'><img src=x onerror=alert(1)>"
    record = nozzle() | {"title": evil, "notes": evil, "by": evil}
    record["flow"][0]["name"] = evil
    result = flowrig.reduce(record)
    html = page_html(result, pictures_of(result), list(result_blocks(result)))
    assert "<script" not in html
    shown = opened(html)
    assert shown.title() == f"Measurement: {evil}"
    assert shown.locator("h1").inner_text() == evil
    assert shown.locator("script").count() == 0
    assert shown.locator("img[src='x']").count() == 0


def test_more_figures_than_a_page_holds_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    import flowrig
    from flowrig.report.figures.all import pictures_of
    from flowrig.report.page import render
    from tests.studies.records import nozzle

    result = flowrig.reduce(nozzle())
    bare = len(render.page_html(result, [], []))
    monkeypatch.setattr(render, "MOST", bare + 60_000)
    html = render.page_html(result, pictures_of(result), [])
    assert "Not shown, to keep the page small: " in html
    assert 0 < html.count("<figure") < len(pictures_of(result))
