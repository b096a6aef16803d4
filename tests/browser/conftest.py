"""A real browser without a screen, where there is one: Debian's package chromium, or what CHROMIUM names."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

# no sandbox of its own inside a container; nothing fetched in the background
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    found = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        pytest.skip("no Chromium here: install the package chromium, or name one in CHROMIUM")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=found, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture
def opened(browser: Any, tmp_path: Path) -> Iterator[Any]:
    """From the text of a page to the page in the browser; whatever it says at its console is a failure."""
    said: list[str] = []
    asked: list[str] = []
    contexts = []

    def show(html: str, **options: Any) -> Any:
        file = tmp_path / f"page-{len(contexts)}.html"
        file.write_text(html, encoding="utf-8")
        context = browser.new_context(**options)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(file.as_uri())
        page.wait_for_load_state()
        return page

    yield show
    for context in contexts:
        context.close()
    assert said == []
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
