"""The house rules that a reader of one file cannot see: who may import whom, and what a start loads."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "flowrig"
FILES = sorted(PACKAGE.rglob("*.py"))

# A room may import rooms of a lower number, and itself.
ROOMS = {
    "errors": 0,
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
    "physics": {"numpy", "scipy"},
    "uncertainty": {"numpy", "scipy", "uncertainties"},
    "unit_table": set(),
    "units": {"pint", "numpy"},
    "records": {"numpy", "pandas"},
    "methods": {"numpy"},
    "studies": {"numpy", "pandas"},
    "report": {"matplotlib", "numpy"},
    "cli": {"click"},
}


def room(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imports(path: Path) -> list[tuple[str, bool]]:
    """Modules a file imports, and whether only for the type checker."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    typing_only: set[ast.AST] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            typing_only.update(ast.walk(node))
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [(alias.name, node in typing_only) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            module = node.module or ""
            if module == "flowrig":
                found += [(f"flowrig.{alias.name}", node in typing_only) for alias in node.names]
            else:
                found.append((module, node in typing_only))
    return found


INNER = [path for path in FILES if room(path) not in ("__init__", "__main__")]


@pytest.mark.parametrize("path", INNER, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_run_one_way(path: Path) -> None:
    own = room(path)
    for module, _ in imports(path):
        top, *rest = module.split(".")
        if top == "flowrig":
            other = rest[0]
            assert other == own or ROOMS[other] < ROOMS[own], f"{own} imports {module}"
        elif top not in sys.stdlib_module_names:
            assert top in LIBRARIES[own], f"{own} imports {module}"


@pytest.mark.parametrize("path", INNER, ids=lambda p: str(p.relative_to(ROOT)))
def test_slow_libraries_are_imported_where_used(path: Path) -> None:
    """pandas, scipy and matplotlib load inside the function that needs them; pint in units.py alone."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    at_top = [n for n in tree.body if isinstance(n, (ast.Import, ast.ImportFrom))]
    for node in at_top:
        names = [a.name for a in node.names] if isinstance(node, ast.Import) else [node.module or ""]
        for name in names:
            assert name.split(".")[0] not in ("pandas", "scipy", "matplotlib", "uncertainties", "pint"), (
                f"{path}: {name}"
            )


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
    assert not loaded(code) & {"numpy", "pint", "pandas", "scipy", "uncertainties"}


def test_importing_the_package_loads_nothing_heavy() -> None:
    assert not loaded("import flowrig") & {"numpy", "pint", "pandas", "scipy", "click"}


def test_a_reduction_loads_neither_pandas_nor_matplotlib() -> None:
    code = "import flowrig; flowrig.reduce('examples/01-nozzle-bank/record.toml')"
    assert not loaded(code) & {"pandas", "matplotlib"}


def test_top_level_holds_what_it_should() -> None:
    listed = subprocess.run(["git", "ls-files"], capture_output=True, text=True, cwd=ROOT, check=True).stdout
    top = {line.split("/")[0] for line in listed.splitlines()}
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "flowrig", "tests", "calibrations", "examples"}
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


@pytest.mark.parametrize("path", CODE, ids=lambda p: str(p.relative_to(ROOT)))
def test_a_file_holds_one_idea(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 450
