"""Pages in a real browser: nothing at the console, nothing fetched, whole on paper, inert, and fit for everybody."""

from __future__ import annotations

from typing import Any

import pytest

from tests.browser.pages import COMMANDS, page

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
MARGINS = (16.0 + 18.0, 15.0 + 15.0)  # of page.css, upright and across [mm]
PIXEL = 25.4 / 96.0  # mm


@pytest.mark.parametrize("name", COMMANDS)
def test_a_page_is_fit_for_everybody(opened: Any, name: str) -> None:
    """Contrast, labels, order of headings, names of regions: by the rules of a kept checker, in light and in dark."""
    from axe_playwright_python.sync_playwright import Axe

    for scheme in ("light", "dark"):
        found = Axe().run(opened(page(name), color_scheme=scheme)).response["violations"]
        told = {rule["id"]: [node["html"][:120] for node in rule["nodes"][:3]] for rule in found}
        assert told == {}, scheme


@pytest.mark.parametrize("name", COMMANDS)
def test_a_page_opens_with_its_answer_and_names_its_figures(opened: Any, name: str) -> None:
    shown = opened(page(name))
    assert shown.locator("h1").count() == 1
    assert len(shown.locator("#answer .answer").inner_text()) > 20
    for image in shown.locator("img").all():
        assert len(image.get_attribute("alt")) > 20
        assert image.evaluate("i => i.naturalWidth") > 100
    for link in shown.locator("a[href^='#']").all():
        target = link.get_attribute("href")[1:]
        assert shown.locator(f"[id='{target}']").count() == 1, target


@pytest.mark.parametrize("name", COMMANDS)
def test_no_page_is_wider_than_its_window(opened: Any, name: str) -> None:
    for width in (360, 1000):
        shown = opened(page(name), viewport={"width": width, "height": 900})
        assert shown.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", ["week", "prediction", "costs"])
def test_on_paper_no_figure_is_cut(opened: Any, name: str, paper: str) -> None:
    """A figure is no taller and no wider than what a sheet leaves, and breaks over no two."""
    wide, tall = (size - margin for size, margin in zip(PAPERS[paper], reversed(MARGINS), strict=True))
    shown = opened(page(name), viewport={"width": round(wide / PIXEL), "height": 900})
    shown.emulate_media(media="print")
    for figure in shown.locator("figure").all():
        box = figure.bounding_box()
        assert box["width"] * PIXEL <= wide + 0.5
        assert box["height"] * PIXEL <= tall
        assert figure.evaluate("f => getComputedStyle(f).breakInside") == "avoid"
    printed = shown.pdf(format=paper)
    assert printed.startswith(b"%PDF")
    assert printed.count(b"/Type /Page\n") + printed.count(b"/Type /Page ") > 1


def test_the_keyboard_reaches_everything_that_scrolls(opened: Any) -> None:
    shown = opened(page("week"), viewport={"width": 360, "height": 700})
    shown.keyboard.press("Tab")
    assert shown.evaluate("document.activeElement.className") == "skip"
    scrolls = "e => e.scrollWidth > e.clientWidth && e.tabIndex < 0"
    assert shown.evaluate(f"[...document.querySelectorAll('.wide, pre')].filter({scrolls}).length") == 0


def test_titles_are_words_and_nothing_else(opened: Any) -> None:
    """A script in a title, a note or the name of a flow stays text."""
    import flowrig
    from flowrig.report.figures.all import pictures_of
    from flowrig.report.page.render import page_html
    from flowrig.report.text import result_text
    from tests.studies.records import nozzle

    evil = "<script>document.title='broken'</script>\"'><img src=x onerror=alert(1)>"
    record = nozzle() | {"title": evil, "notes": evil, "by": evil}
    record["flow"][0]["name"] = evil
    result = flowrig.reduce(record)
    html = page_html(result, pictures_of(result), result_text(result).split("\n"))
    assert "<script" not in html
    shown = opened(html)
    assert shown.title() == f"Measurement: {evil}"
    assert shown.locator("h1").inner_text() == evil
    assert shown.locator("script").count() == 0
    assert shown.locator("img[src='x']").count() == 0
