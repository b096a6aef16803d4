"""Files that are missing, elsewhere, in another encoding or without end; options and outputs that cannot be used."""

from __future__ import annotations

import os
import signal
import sys
import time
from pathlib import Path

import pytest

from tests.cli.rig import (
    GRID,
    LOG,
    LOGGED,
    OLD_CSV,
    OLD_JSON,
    RECORD,
    ROWS,
    TRAVERSE,
    Rig,
    edited,
    named,
)


@pytest.fixture
def rig(tmp_path: Path) -> Rig:
    return Rig(tmp_path)


# ---------------------------------------------------------------- files


def test_files_that_are_not_there(rig: Rig) -> None:
    rig.refuses("record.toml", says=(("record.toml", "no file 'record.toml'", "Check its name"),))
    rig.refuses("nowhere/record.toml", says=(("record.toml", "no folder 'nowhere'"),))
    rig.lay_out(records_toml=LOGGED, record_toml=LOGGED)
    rig.refuses("recrod.toml", says=(("recrod.toml", "Did you mean 'record.toml'?"),))
    at = "record.toml, line 36, flow[1].log"
    rig.refuses("record.toml", says=((at, "no file 'log.csv'", "Check its name"),))
    rig.write("Log.csv", LOG)
    rig.refuses("record.toml", says=((at, "no file 'log.csv'", "Did you mean 'Log.csv'?"),))
    rig.lay_out(record_toml=RECORD)
    rig.refuses("record.toml", "--rows", "rows.csv", says=(("rows.csv", "no file 'rows.csv'"),))


def test_a_folder_or_a_table_in_place_of_the_record(rig: Rig) -> None:
    rig.write("folder/record.toml", RECORD)
    rig.refuses("folder", says=(("folder", "a folder, 'folder'", "Name the file inside it"),))
    rig.lay_out(log_csv=LOG)
    rig.refuses("log.csv", says=(("log.csv", "text of another kind, 'time [s],drop [Pa],remark'", "Name the record"),))
    rig.lay_out(record_toml=RECORD)
    rig.refuses("record.toml", "--rows", "folder", says=(("folder", "a folder"),))


@pytest.mark.parametrize("text", ["", "\n \n", "# nothing yet\n"])
def test_an_empty_record(rig: Rig, text: str) -> None:
    rig.lay_out(record_toml=text)
    rig.refuses("record.toml", says=(("record.toml", "key = value", "saved"),))


@pytest.mark.parametrize("name", ["../log.csv", "data/../../log.csv", "/etc/log.csv", "~/log.csv", ".", "C:/log.csv"])
def test_a_file_outside_the_records_folder(rig: Rig, name: str) -> None:
    (rig.folder / "own").mkdir()
    rig.lay_out(log_csv=LOG)
    rig.write("own/record.toml", edited(LOGGED, '"log.csv"', f'"{name}"'))
    at = "record.toml, line 36, flow[1].log"
    rig.refuses("own/record.toml", says=((at, f"'{name}'", "the record's own folder", "Copy the file beside"),))


def test_windows_names(rig: Rig) -> None:
    at = "record.toml, line 36, flow[1].log"
    rig.lay_out(record_toml=edited(LOGGED, '"log.csv"', "'data\\log.csv'"))
    rig.refuses("record.toml", says=((at, "'data\\log.csv'", "Write 'data/log.csv'"),))
    rig.lay_out(record_toml=edited(LOGGED, '"log.csv"', "'C:\\data\\log.csv'"))
    rig.refuses("record.toml", says=((at, "'C:\\data\\log.csv'", "Copy the file beside"),))
    rig.lay_out(record_toml=edited(LOGGED, '"log.csv"', '"C:\\temp\\new.csv"'))  # TOML reads a tab and a line end
    rig.refuses("record.toml", says=((at, "starts an escape", "Copy the file beside"),))


def test_a_symbolic_link_out_of_the_folder(rig: Rig) -> None:
    rig.write("elsewhere/log.csv", LOG)
    rig.write("own/record.toml", LOGGED)
    (rig.folder / "own" / "log.csv").symlink_to(rig.folder / "elsewhere" / "log.csv")
    at = "record.toml, line 36, flow[1].log"
    rig.refuses("own/record.toml", says=((at, "'log.csv'", "Copy the file beside"),))


def test_records_in_other_encodings(rig: Rig) -> None:
    rig.lay_out(record_toml=RECORD.encode("utf-16"))
    rig.refuses("record.toml", says=(("record.toml, line 1", "the mark of UTF-16", "save it as UTF-8"),))
    rig.lay_out(record_toml=RECORD.encode("utf-16-le"))
    rig.refuses("record.toml", says=(("record.toml, line 1", "byte 0x00", "UTF-16"),))
    degree = edited(edited(RECORD, "23.4 degC", "23.4 °C"), " ± 0.15 mm", "")
    rig.lay_out(record_toml=degree.encode("latin-1"))
    rig.refuses("record.toml", says=(("record.toml, line 5, column 21", "0xB0", "'°'", "save it as UTF-8"),))


def test_tables_in_other_encodings(rig: Rig) -> None:
    half = LOG.encode().replace(b"door open", "23 ° \xe9".encode() + b"\xb0")
    rig.lay_out(record_toml=LOGGED, log_csv=half)
    rig.refuses("record.toml", says=(("log.csv, line 4, column", "0xB0", "save it as UTF-8"),))
    rig.lay_out(log_csv=LOG.encode() + b"\0\0\0\0")
    rig.refuses("record.toml", says=(("log.csv, line 7", "byte 0x00", "damaged"),))
    # what loggers do write is read, and the guess is told
    for encoding, told in (("utf-16", "UTF-16"), ("latin-1", "Windows")):
        rig.lay_out(log_csv=edited(LOG, "door open", "23 °C").encode(encoding))
        code, out, err = rig.run("reduce", "record.toml")
        assert (code, err) == (0, "")
        assert told in out


# ---------------------------------------------------------------- too much


def test_cells_without_end(rig: Rig) -> None:
    rig.lay_out(record_toml=LOGGED, log_csv=edited(LOG, "183.1", "1" * 2_000_000))
    rig.refuses("record.toml", says=(("log.csv, row 3", "a cell of more than", "line ends that are missing"),))
    rig.lay_out(log_csv=edited(LOG, "door open", '"' + "x, " * 700_000))
    rig.refuses("record.toml", says=(("log.csv, row 4", "a cell of more than", "a quote that is not closed"),))


# the high-water mark of this program alone: ru_maxrss would begin at that of the tests that started it
MEASURED = """
import re, sys
from flowrig.cli import main
try:
    main(sys.argv[1:])
finally:
    print(int(re.search(r"VmHWM:\\s+(\\d+)", open("/proc/self/status").read())[1]) // 1024)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="/proc/self/status is on Linux only")
@pytest.mark.parametrize("spoilt", ["record.toml", "log.csv", "grid.csv", "rows.csv"])
def test_a_cell_of_a_gigabyte_is_not_taken_into_memory(rig: Rig, spoilt: str) -> None:
    record = {"log.csv": LOGGED, "grid.csv": TRAVERSE}.get(spoilt, RECORD)
    rig.lay_out(record_toml=record, log_csv=LOG, grid_csv=GRID, rows_csv=ROWS)
    with (rig.folder / spoilt).open("r+b") as stream:
        stream.seek(0, os.SEEK_END)
        stream.truncate(2**30)  # a sparse file: the cell is there to be read and takes no room on the disk
    arguments = ["reduce", "record.toml", *(["--rows", "rows.csv"] if spoilt == "rows.csv" else [])]
    says = ((spoilt, "1,073,741,824 bytes", "a file of at most"),)
    rig.refuses(*arguments[1:], says=says)
    with rig.start(MEASURED, *arguments) as reader:
        out, err = reader.communicate()
    assert reader.returncode == 2, err
    assert int(out) < 512  # megabytes, of which the libraries alone take a good hundred


# ---------------------------------------------------------------- options and outputs

OPTIONS = named(
    ("coverage of 120", ["--coverage", "120"], ("--coverage", "'120'", "95 % or 0.95")),
    ("coverage in words", ["--coverage", "abc"], ("--coverage", "'abc'", "95 % or 0.95")),
    ("coverage with a comma", ["--coverage", "95,5"], ("--coverage", "'95,5'", "decimal point")),
    ("coverage of all", ["--coverage", "100 %"], ("--coverage", "'100 %'", "to 99.99 %")),
    ("coverage that is a factor", ["--coverage", "2"], ("--coverage", "'2'", "not a coverage factor")),
    ("three samples", ["--samples", "3"], ("--samples", "3", "from 1000")),
    ("samples beyond memory", ["--samples", "1000000000000"], ("--samples", "to 10000000", "memory")),
    ("unit of length", ["--unit", "parsec"], ("--unit", "'parsec'", "cfm")),
    ("unit of pressure", ["--unit", "Pa"], ("--unit", "'Pa'", "one of pressure")),
    ("no unit", ["--unit", ""], ("--unit", "''", "is missing")),
)


@pytest.mark.parametrize(("options", "says"), OPTIONS)
def test_options(rig: Rig, options: list[str], says: tuple[str, ...]) -> None:
    rig.lay_out(record_toml=RECORD)
    rig.refuses("record.toml", *options, says=(says,))


@pytest.mark.parametrize("options", [["--samples", "x"], ["--seed", "x"], ["--jsn", "x"], ["second.toml"]])
def test_options_that_are_none(rig: Rig, options: list[str]) -> None:
    rig.lay_out(record_toml=RECORD)
    code, out, err = rig.run("reduce", "record.toml", *options)
    assert (code, out) == (2, "")
    assert err.splitlines()[-1].startswith("Error: ")
    assert options[-2 if len(options) > 1 else 0] in err


@pytest.mark.parametrize(
    ("outputs", "says"),
    named(
        ("folder that is not there", ["--json", "nope/r.json"], ("nope/r.json", "no folder 'nope'", "Make the folder")),
        ("a folder itself", ["--json", "folder"], ("folder", "a folder", "Add a file name")),
        ("no name", ["--csv", ""], ("''", "a folder", "Add a file name")),
        ("a device", ["--json", "/dev/null"], ("/dev/null", "a device", "an ordinary file")),
        ("the record", ["--json", "record.toml"], ("record.toml", "reads or writes already", "another file")),
        ("the log", ["--csv", "./log.csv"], ("./log.csv", "reads or writes already", "another file")),
        ("one name twice", ["--json", "r", "--csv", "r"], ("r", "reads or writes already", "another file")),
        ("one good, one bad", ["--json", "result.json", "--csv", "nope/r.csv"], ("nope/r.csv", "no folder 'nope'")),
    ),
)
def test_outputs_that_cannot_be_written(rig: Rig, outputs: list[str], says: tuple[str, ...]) -> None:
    rig.lay_out(record_toml=LOGGED, log_csv=LOG, result_json=OLD_JSON, result_csv=OLD_CSV)
    rig.write("folder/some.txt", "")
    before = rig.contents()
    code, out, err = rig.run("reduce", "record.toml", *outputs)
    assert (code, out) == (2, "")
    assert rig.contents() == before
    [line] = err.splitlines()
    assert line.startswith(f"{says[0]}: read ")
    assert all(word in line for word in says)


def test_outputs_of_a_good_run_are_both_replaced(rig: Rig) -> None:
    rig.lay_out(record_toml=RECORD, result_json=OLD_JSON, result_csv=OLD_CSV)
    code, _, err = rig.run("reduce", "record.toml", "--json", "result.json", "--csv", "result.csv")
    assert (code, err) == (0, "")
    assert rig.contents().keys() == {"record.toml", "result.json", "result.csv"}
    assert OLD_JSON.encode() != rig.contents()["result.json"]
    assert OLD_CSV.encode() != rig.contents()["result.csv"]


# Stands still at the moment at which the new text is on the disk under its passing name and the old one still there.
STOPPED = """
import os, sys, time
from flowrig.cli import main
os.fsync = lambda handle: time.sleep(600)
main(sys.argv[1:])
"""


def test_killed_while_writing_the_old_output_stands_whole(rig: Rig) -> None:
    rows = "".join(f"{i},{150 + i % 50}\n" for i in range(2000))
    rig.lay_out(record_toml=RECORD, rows_csv=f"test,drop [Pa]\n{rows}", result_json=OLD_JSON, result_csv=OLD_CSV)
    arguments = ["reduce", "record.toml", "--rows", "rows.csv", "--json", "result.json", "--csv", "result.csv"]
    with rig.start(STOPPED, *arguments) as writer:
        try:
            while not (parts := list(rig.folder.glob(".result*.flowrig-part"))):
                assert writer.poll() is None, writer.stderr and writer.stderr.read()
                time.sleep(0.02)
        finally:
            writer.kill()
    assert writer.returncode == -signal.SIGKILL
    assert len(parts) == 1
    found = rig.contents()
    assert (found["result.json"], found["result.csv"]) == (OLD_JSON.encode(), OLD_CSV.encode())
    code, _, err = rig.run(*arguments)
    assert (code, err) == (0, "")
    assert rig.contents()["result.json"] != OLD_JSON.encode()
