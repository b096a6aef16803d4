"""Files as they are found: read whole within a limit, their encoding judged, what is missing or odd said in words."""

from __future__ import annotations

import difflib
import stat
from collections.abc import Sequence
from itertools import islice
from pathlib import Path

from flowrig.errors import Fault, InputError

LISTED = 50  # faults told one by one; a reader mends no more than that at a sitting


def quoted(text: str, limit: int = 80) -> str:
    """``text`` in single quotes, cut at ``limit`` characters, anything invisible written as an escape."""
    shown = text if len(text) <= limit else text[:limit] + "…"
    return "'" + "".join(c if c.isprintable() else repr(c)[1:-1] for c in shown) + "'"


def listed(faults: Sequence[Fault], name: str, rest: str = "", most: int = LISTED) -> list[Fault]:
    """The first of ``faults``, and one for the rest: "and N more", or as ``rest`` has it where not all are there."""
    if len(faults) <= most:
        return list(faults)
    read = rest or f"and {len(faults) - most} more"
    return [*faults[:most], Fault(name, read, "no faults", f"Mend the first {most} and read it again.")]


def near_name(wanted: str, known: list[str]) -> str | None:
    """The one of ``known`` that ``wanted`` was probably meant for, letter case aside: alike, or the only longer one."""
    folded = {word.casefold(): word for word in known}
    close = difflib.get_close_matches(wanted.casefold(), folded, n=1, cutoff=0.7)
    if close:
        return folded[close[0]]
    longer = [word for fold, word in folded.items() if len(wanted) > 2 and wanted.casefold() in fold]
    return longer[0] if len(longer) == 1 else None


def is_bare(name: str) -> bool:
    """Whether this is the name of a file without any folder, on any machine."""
    return bool(name.strip(" .")) and name.isprintable() and not set(name) & set("/\\:~")


def read_bytes(path: Path, name: str, limit: int, shown: str) -> bytes:
    """The bytes of an ordinary file of at most ``limit`` bytes; its size is looked at before anything is read.

    Faults show the path as it was ``shown`` to us, not where on the machine it led.

    Raises
    ------
    InputError
        The file is missing, a folder, a device, not readable, or too large.
    """
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise InputError(Fault(name, f"a folder, {quoted(shown)}", "a file", "Name the file inside it."))
        if not stat.S_ISREG(status.st_mode):  # a pipe would block, a device never ends
            raise InputError(
                Fault(name, f"a pipe or a device, {quoted(shown)}", "an ordinary file", "Save it to a file first.")
            )
        if status.st_size > limit:
            remedy = "Check that this is the file you meant; split it if it is."
            raise InputError(Fault(name, f"{status.st_size:,} bytes", f"a file of at most {limit:,} bytes", remedy))
        with path.open("rb") as stream:
            return stream.read(status.st_size)  # and no further, should a logger still be writing to it
    except (FileNotFoundError, NotADirectoryError):
        raise InputError(_missing(path, name, shown)) from None
    except (OSError, ValueError) as problem:  # ValueError: a NUL in the name
        reason = getattr(problem, "strerror", None) or str(problem)
        read = f"nothing, {quoted(shown)} ({reason})"
        raise InputError(Fault(name, read, "a file that can be read", "Check its name and permissions.")) from None


def _missing(path: Path, name: str, shown: str) -> Fault:
    if not path.parent.is_dir():
        return Fault(
            name,
            f"nothing, there is no folder {quoted(str(Path(shown).parent))}",
            "a file in a folder that exists",
            "Check the folder's name.",
        )
    near = near_name(path.name, [entry.name for entry in islice(path.parent.iterdir(), 5000)])
    remedy = f"Did you mean {quoted(near)}?" if near else "Check its name and the folder it is in."
    return Fault(name, f"nothing, there is no file {quoted(shown)}", "a file that exists", remedy)


def encoding_faults(data: bytes, name: str) -> list[Fault]:
    """One fault for each line of ``data`` that is not UTF-8, or one for bytes that are not text at all."""
    save = "Open it in a text editor and save it as UTF-8."
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return [Fault(f"{name}, line 1", f"bytes 0x{data[:2].hex().upper()}, the mark of UTF-16", "UTF-8 text", save)]
    if (nul := data.find(b"\0")) >= 0:
        line = data.count(b"\n", 0, nul) + 1
        remedy = "If this is text in UTF-16, save it as UTF-8; otherwise it is damaged, or not text at all."
        return [Fault(f"{name}, line {line}", f"byte 0x00 (byte {nul + 1} of the file)", "UTF-8 text", remedy)]
    faults = []
    for number, line_bytes in enumerate(data.split(b"\n"), 1):
        try:
            line_bytes.decode("utf-8")
        except UnicodeDecodeError as problem:
            column = len(line_bytes[: problem.start].decode("utf-8")) + 1
            byte = line_bytes[problem.start : problem.start + 1]
            line_shown = quoted(line_bytes.decode("cp1252", "replace"))
            meant = f", {quoted(byte.decode('cp1252', 'replace'))} in the Windows encoding"
            read = f"byte 0x{byte.hex().upper()}{meant}, in {line_shown}"
            faults.append(Fault(f"{name}, line {number}, column {column}", read, "UTF-8 text", save))
    return listed(faults, name)
