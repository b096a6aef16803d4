"""The house rules that a reader of one file cannot see: who may import whom, and what a start loads."""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from flowrig.cli import main

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "flowrig"
FILES = sorted(PACKAGE.rglob("*.py"))

# A room may import rooms of a lower number, and itself.
ROOMS = {
    "errors": 0,
    "progress": 0,
    "physics": 1,
    "uncertainty": 1,
    "unit_table": 1,
    "units": 2,
    "records": 3,
    "methods": 4,
    "studies": 5,
    "report": 6,
    "cli": 7,
}
LIBRARIES = {
    "errors": set(),
    "progress": set(),
    "physics": {"numpy", "scipy"},
    "uncertainty": {"numpy", "scipy", "uncertainties"},
    "unit_table": set(),
    "units": {"pint", "numpy"},
    "records": {"numpy", "pandas"},
    "methods": {"numpy"},
    "studies": {"numpy", "pandas"},
    "report": {"jinja2", "matplotlib", "numpy"},
    "cli": {"click", "rich"},
}


def room(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports(path: Path) -> list[tuple[str, bool]]:
    """Modules a file imports, and whether at its top, where a start loads them."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found = []
    for node in ast.walk(tree):
        at_top = node in tree.body
        if isinstance(node, ast.Import):
            found += [(alias.name, at_top) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            module = node.module or ""
            if module == "flowrig":
                found += [(f"flowrig.{alias.name}", at_top) for alias in node.names]
            else:
                found.append((module, at_top))
    return found


INNER = [path for path in FILES if room(path) not in ("__init__", "__main__")]


@pytest.fixture(scope="module")
def imported() -> dict[Path, list[tuple[str, bool]]]:
    return {path: imports(path) for path in INNER}


def test_imports_run_one_way(imported: dict[Path, list[tuple[str, bool]]]) -> None:
    wrong = []
    for path, found in imported.items():
        own = room(path)
        for module, _ in found:
            top, *rest = module.split(".")
            if top == "flowrig":
                other = rest[0]
                allowed = other == own or ROOMS[other] < ROOMS[own]
            else:
                allowed = top in sys.stdlib_module_names or top in LIBRARIES[own]
            if not allowed:
                wrong.append(f"{path.relative_to(ROOT)} imports {module}")
    assert wrong == []


def test_slow_libraries_are_imported_where_used(imported: dict[Path, list[tuple[str, bool]]]) -> None:
    """pandas, scipy and matplotlib load inside the function that needs them; pint in units.py alone."""
    slow = {"pandas", "scipy", "matplotlib", "uncertainties", "pint", "jinja2"}
    wrong = [
        f"{path.relative_to(ROOT)}: {module}"
        for path, found in imported.items()
        for module, at_top in found
        if at_top and module.split(".")[0] in slow
    ]
    assert wrong == []


def test_every_room_is_known() -> None:
    assert {room(path) for path in INNER} == set(ROOMS)


def loaded(code: str) -> set[str]:
    run = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport sys; print('\\n'.join(sys.modules))"],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
    )
    return {line.split(".")[0] for line in run.stdout.splitlines()}


def test_help_loads_click_alone() -> None:
    code = "import contextlib\nfrom flowrig.cli import main\nwith contextlib.suppress(SystemExit): main(['--help'])"
    assert not loaded(code) & {"numpy", "pint", "pandas", "scipy", "uncertainties", "rich", "matplotlib"}


@pytest.mark.parametrize(("own", "taken"), [(None, "1"), ("3", "3")])
def test_a_command_takes_one_thread_unless_told_otherwise(
    own: str | None, taken: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", own or "")
    if own is None:
        monkeypatch.delenv("OPENBLAS_NUM_THREADS")
    with pytest.raises(SystemExit):
        main(["--version"])
    assert os.environ["OPENBLAS_NUM_THREADS"] == taken


def test_importing_the_package_loads_nothing_heavy() -> None:
    assert not loaded("import flowrig") & {"numpy", "pint", "pandas", "scipy", "click"}


def test_a_report_in_a_pipe_loads_nothing_for_terminals() -> None:
    code = (
        "import contextlib, io\nfrom flowrig.cli import main\nwith contextlib.suppress(SystemExit), "
        "contextlib.redirect_stdout(io.StringIO()):\n    main(['reduce', 'examples/01-nozzle-bank/record.toml'])"
    )
    assert not loaded(code) & {"rich", "matplotlib", "pandas"}


def test_a_reduction_loads_neither_pandas_nor_matplotlib() -> None:
    code = "import flowrig; flowrig.reduce('examples/01-nozzle-bank/record.toml')"
    assert not loaded(code) & {"pandas", "matplotlib"}


def test_top_level_holds_what_it_should() -> None:
    listed = subprocess.run(["git", "ls-files"], capture_output=True, text=True, cwd=ROOT, check=True).stdout
    top = {line.split("/")[0] for line in listed.splitlines()}
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "flowrig", "tests", "calibrations", "docs", "examples"}
    assert {name for name in top if not name.startswith(".")} == allowed


def test_no_machine_path_in_the_tree() -> None:
    # written so that this file does not find itself
    pattern = re.compile("/" + r"(?:work|root|home|tmp)/\w+|(?:[A-Z]:\\Users)")
    listed = subprocess.run(["git", "ls-files"], capture_output=True, text=True, cwd=ROOT, check=True).stdout
    for name in listed.splitlines():
        if name.endswith((".py", ".md", ".toml", ".txt", "run")):
            found = pattern.search((ROOT / name).read_text(encoding="utf-8"))
            assert found is None, f"{name}: {found and found.group()}"


CODE = [path for path in FILES if path.name != "unit_table.py"]  # that one is a table, as long as it has to be


def test_a_file_holds_one_idea() -> None:
    lines = {path: len(path.read_text(encoding="utf-8").splitlines()) for path in CODE}
    assert {str(path.relative_to(ROOT)): n for path, n in lines.items() if n > 450} == {}
