"""Files written whole or not at all: beside the target first, then renamed onto it."""

from __future__ import annotations

import contextlib
import os
import secrets
import stat
import time
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from flowrig.errors import Fault, InputError
from flowrig.records.files import quoted

PART_SUFFIX = ".flowrig-part"
_STALE = 3600.0  # seconds; no write takes that long, so an older part is one whose writer was killed


def write_text(path: str | Path, text: str) -> None:
    """Write ``text`` as UTF-8, line ends as they are. See `write_all`."""
    write_all({path: text})


def write_bytes(path: str | Path, data: bytes) -> None:
    """Write ``data``. See `write_all`."""
    write_all({path: data})


def write_all(contents: Mapping[Any, str | bytes]) -> None:
    """Write several files, none of them unless every one is safely on the disk under a passing name.

    A process killed at any moment leaves each target as it was or complete. What it may leave beside them is called
    ``.NAME.….flowrig-part`` and is removed by a later write into the same folder, once an hour old.

    Parameters
    ----------
    contents : mapping of path to str or bytes
        Whole contents of each file; text is written as UTF-8.

    Raises
    ------
    InputError
        A folder is missing, a target is a folder, a device or write-protected, one is named twice, or the disk refuses:
        every such fault, and no target touched.
    """
    targets = dict(zip(targets_of(contents), contents.values(), strict=True))
    parts: dict[Path, Path] = {}
    target = Path()
    try:
        for target, content in targets.items():
            _remove_stale(target.parent)
            parts[target] = target.with_name(f".{target.name[:40]}.{secrets.token_hex(6)}{PART_SUFFIX}")
            _write_part(parts[target], target, content.encode("utf-8") if isinstance(content, str) else content)
        for target, part in parts.items():
            os.replace(part, target)
        for folder in {target.parent for target in parts}:
            _sync_folder(folder)
    except OSError as problem:
        raise InputError(_refused(str(target), problem)) from None
    finally:
        for part in parts.values():
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)


def targets_of(paths: Iterable[Any]) -> list[Path]:
    """The files that will be written, as far as can be told before there is anything to write.

    Raises
    ------
    InputError
        As `write_all` does.
    """
    faults: list[Fault] = []
    targets: list[Path] = []
    for path in paths:
        try:
            target = Path(os.path.realpath(path))  # a symbolic link stays one
            fault = _refusal(str(path) or "''", target)
        except (OSError, ValueError) as problem:  # ValueError: a NUL in the name
            fault = _refused(str(path), problem)
        else:
            if target in targets:
                fault = Fault(str(path), "a second output of this name", "one output a file", "Name another file.")
            targets.append(target)
        faults += [fault] if fault else []
    if faults:
        raise InputError(faults)
    return targets


def _refused(name: str, problem: Exception) -> Fault:
    reason = getattr(problem, "strerror", None) or str(problem)
    return Fault(name, f"a refusal ({reason})", "a file that can be written", "Make room, or choose another place.")


def _refusal(name: str, target: Path) -> Fault | None:
    try:
        mode = target.stat().st_mode
    except FileNotFoundError:
        if target.parent.is_dir() and target.name:
            return None
        read = f"no folder {quoted(str(Path(name).parent))}"
        return Fault(name, read, "an output in a folder that exists", "Make the folder first, or correct the name.")
    if stat.S_ISDIR(mode):
        return Fault(name, "a folder", "a file to write", "Add a file name to it.")
    if not stat.S_ISREG(mode):  # renaming onto a device would replace it
        return Fault(name, "a device or a pipe", "a file to write", "Name an ordinary file.")
    if not os.access(target, os.W_OK):
        return Fault(name, "a write-protected file", "a file to write", "Lift the protection or name another.")
    return None


def _write_part(part: Path, target: Path, data: bytes) -> None:
    with part.open("xb") as stream:
        with contextlib.suppress(FileNotFoundError):  # a file that is replaced keeps its permissions
            part.chmod(stat.S_IMODE(target.stat().st_mode))
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


def _sync_folder(folder: Path) -> None:
    # The rename itself reaches the disk with the folder; not every system lets a folder be opened.
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _remove_stale(folder: Path) -> None:
    for part in folder.glob(f".*{PART_SUFFIX}"):
        with contextlib.suppress(OSError):
            if time.time() - part.stat().st_mtime > _STALE:
                part.unlink()
