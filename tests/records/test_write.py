import errno
import os
import signal
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from flowrig.errors import Fault, InputError
from flowrig.records.write import PART_SUFFIX, write_all, write_bytes, write_text

ROOT = Path(__file__).parents[2]


def faults(contents: dict[Path, str | bytes]) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        write_all(contents)
    return caught.value.faults


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def child(code: str, path: Path) -> subprocess.Popen[str]:
    """A process of its own that runs ``code`` with ``path`` at hand."""
    start = f"import os, resource, signal, time\nfrom flowrig.records import write\npath = {str(path)!r}\n"
    return subprocess.Popen([sys.executable, "-c", start + textwrap.dedent(code)], cwd=ROOT, text=True)


def test_text_is_utf_8_with_its_own_line_ends(tmp_path: Path) -> None:
    write_text(tmp_path / "report.txt", "23 °C\r\n± 0.1\n")
    assert (tmp_path / "report.txt").read_bytes() == "23 °C\r\n± 0.1\n".encode()
    assert names(tmp_path) == ["report.txt"]


def test_an_old_output_is_replaced_and_keeps_its_permissions(tmp_path: Path) -> None:
    path = tmp_path / "report.txt"
    path.write_text("old, and longer than the new")
    path.chmod(0o640)
    write_bytes(path, b"new")
    assert path.read_bytes() == b"new"
    assert path.stat().st_mode & 0o777 == 0o640


def test_a_new_output_has_the_usual_permissions(tmp_path: Path) -> None:
    (tmp_path / "usual").touch()
    write_text(tmp_path / "report.txt", "")
    assert (tmp_path / "report.txt").stat().st_mode == (tmp_path / "usual").stat().st_mode


def test_a_symbolic_link_stays_one(tmp_path: Path) -> None:
    (tmp_path / "store").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "store" / "report.txt")
    write_text(tmp_path / "link", "new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "store" / "report.txt").read_text() == "new"


def test_a_name_as_long_as_the_disk_allows(tmp_path: Path) -> None:
    for name in ("a" * 255, "ü" * 127, "漢" * 85):
        write_text(tmp_path / name, "x")
        assert (tmp_path / name).read_text() == "x"


def test_what_cannot_be_written_to_is_said(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "file").write_text("old")
    assert "no folder" in faults({tmp_path / "nowhere" / "report.txt": ""})[0].read
    assert "a folder" in faults({tmp_path: ""})[0].read
    assert "pipe" in faults({tmp_path / "pipe": ""})[0].read
    assert "null" in faults({tmp_path / "a\0b": ""})[0].read
    assert len(faults({tmp_path / "file" / "report.txt": ""})) == 1
    assert len(faults({tmp_path / ("a" * 300): ""})) == 1
    assert names(tmp_path) == ["file", "pipe"]


def test_a_write_protected_file_is_not_replaced(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "report.txt").write_text("old")
    monkeypatch.setattr(os, "access", lambda *_: False)  # the tests may run as a user to whom nothing is protected
    assert "write-protected" in faults({tmp_path / "report.txt": "new"})[0].read
    assert (tmp_path / "report.txt").read_text() == "old"


def test_several_outputs_have_all_their_faults_in_one_report_and_none_is_written(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("old")
    found = faults(
        {tmp_path / "a": "new", tmp_path / "b" / "c": "", tmp_path / "d": "", tmp_path / "x" / ".." / "d": ""}
    )
    assert [fault.where for fault in found] == [str(tmp_path / "b" / "c"), str(tmp_path / "x" / ".." / "d")]
    assert (tmp_path / "a").read_text() == "old"
    assert names(tmp_path) == ["a"]


@pytest.mark.parametrize(
    "problem", [OSError(errno.ENOSPC, "No space left on device"), KeyboardInterrupt(), ValueError()]
)
def test_an_exception_at_the_second_file_leaves_both_as_they_were(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, problem: BaseException
) -> None:
    (tmp_path / "a").write_text("old")
    calls = []

    def fail_second(handle: int) -> None:
        calls.append(handle)
        if len(calls) == 2:
            raise problem

    monkeypatch.setattr(os, "fsync", fail_second)
    with pytest.raises(InputError if isinstance(problem, OSError) else type(problem)):
        write_all({tmp_path / "a": "new", tmp_path / "b": "new"})
    assert len(calls) == 2
    assert (tmp_path / "a").read_text() == "old"
    assert names(tmp_path) == ["a"]


def test_text_that_has_no_utf_8_leaves_the_old_output(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("old")
    with pytest.raises(UnicodeEncodeError):
        write_text(tmp_path / "a", "\ud800")
    assert (tmp_path / "a").read_text() == "old"
    assert names(tmp_path) == ["a"]


def test_a_disk_that_fills_up_leaves_the_old_output(tmp_path: Path) -> None:
    path = tmp_path / "report.txt"
    path.write_text("old")
    process = child(
        """
        resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, 1_000_000))  # a write beyond it fails
        try:
            write.write_bytes(path, b"x" * 8_000_000)
        except write.InputError:
            raise SystemExit(2)
        """,
        path,
    )
    assert process.wait(60) == 2
    assert path.read_text() == "old"
    assert names(tmp_path) == ["report.txt"]


def test_killed_in_the_middle_of_a_write_the_old_output_stands_whole(tmp_path: Path) -> None:
    path = tmp_path / "report.txt"
    path.write_text("old")
    process = child(
        """
        signal.signal(signal.SIGXFSZ, signal.SIG_DFL)  # the system kills the process once a million bytes are written
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        resource.setrlimit(resource.RLIMIT_FSIZE, (1_000_000, 1_000_000))
        write.write_bytes(path, b"x" * 8_000_000)
        """,
        path,
    )
    assert process.wait(60) == -signal.SIGXFSZ
    assert path.read_text() == "old"
    (part,) = [p for p in tmp_path.iterdir() if p != path]
    assert part.name.startswith(".report.txt.")
    assert part.name.endswith(PART_SUFFIX)
    assert part.stat().st_size == 1_000_000


@pytest.mark.parametrize("moment", ["fsync", "replace"])
def test_killed_outright_the_old_output_stands_whole(tmp_path: Path, moment: str) -> None:
    path = tmp_path / "report.txt"
    path.write_text("old")
    process = child(
        f"""
        def wait(*_):
            open(path + ".ready", "w").close()
            time.sleep(600)
        os.{moment} = wait  # holds the writer just there until it is killed
        write.write_bytes(path, b"x" * 8_000_000)
        """,
        path,
    )
    try:
        for _ in range(6000):
            if (tmp_path / "report.txt.ready").exists():
                break
            time.sleep(0.01)
    finally:
        process.kill()
    assert process.wait(60) == -signal.SIGKILL
    assert (tmp_path / "report.txt.ready").exists()
    assert path.read_text() == "old"
    (part,) = tmp_path.glob(f".*{PART_SUFFIX}")

    write_text(path, "new")  # minutes later: another writer may still be at that part
    assert part.exists()
    os.utime(part, (0, 0))
    write_text(path, "newer")  # an hour and more later
    assert not part.exists()
    assert path.read_text() == "newer"


def test_only_parts_are_cleaned_away(tmp_path: Path) -> None:
    for name in (".hidden", "data.csv", f"visible{PART_SUFFIX}"):
        (tmp_path / name).write_text("kept")
        os.utime(tmp_path / name, (0, 0))
    write_text(tmp_path / "report.txt", "new")
    assert names(tmp_path) == [".hidden", "data.csv", "report.txt", f"visible{PART_SUFFIX}"]


def test_contents_are_on_the_disk_before_they_are_renamed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    order: list[str] = []
    fsync, replace = os.fsync, os.replace

    def note(name: str, call: Callable[..., None], *given: Any) -> None:
        order.append(name)
        call(*given)

    monkeypatch.setattr(os, "fsync", partial(note, "fsync", fsync))
    monkeypatch.setattr(os, "replace", partial(note, "replace", replace))
    write_all({tmp_path / "a": "1", tmp_path / "b": b"2"})
    assert order == ["fsync", "fsync", "replace", "replace", "fsync"]  # the last is the folder's
