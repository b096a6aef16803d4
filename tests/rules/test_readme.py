"""The README promises nothing that is not so."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.readme import PAGES, README, ROOT, made


def blocks() -> list[str]:
    return re.findall(r"^```sh\n(.*?)^```$", README.read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE)


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(ROOT)))
def test_made_parts_are_fresh(page: Path) -> None:
    assert made(page) == page.read_text(encoding="utf-8"), "run: python -m tests.readme"


def test_first_two_blocks_are_the_two_commands_one_line_each() -> None:
    first, second = blocks()[:2]
    assert all(block.count("\n") == 1 for block in (first, second))
    assert "flowrig reduce examples/" in first
    assert "pytest" in second
    assert {"ruff", "mypy"} <= set(re.findall(r"bin/(\w+)", second))


def test_ci_runs_the_readme_command() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "README.md" in script


def test_files_named_in_the_readme_exist() -> None:
    text = README.read_text(encoding="utf-8")
    for name in re.findall(r"\b(?:examples|tests|calibrations)/[\w./-]+\w", text):
        assert (ROOT / name).exists(), name


def test_python_example_runs(monkeypatch) -> None:
    monkeypatch.chdir(ROOT)
    [code] = re.findall(r"^```python\n(.*?)^```$", README.read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE)
    exec(compile(code, "README.md", "exec"), {})


def test_record_in_the_readme_reduces(tmp_path, monkeypatch) -> None:
    import flowrig

    text = README.read_text(encoding="utf-8")
    [record] = re.findall(r"^```toml\n(.*?)^```$", text, re.DOTALL | re.MULTILINE)
    path = tmp_path / "record.toml"
    path.write_text(record, encoding="utf-8")
    assert float(flowrig.reduce(path).flow.value) > 0
