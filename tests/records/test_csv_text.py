import csv
import hashlib
import io
import subprocess
import sys
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowrig.errors import Fault, InputError
from flowrig.records.csv_text import CELL_LIMIT, CSV_LIMIT, Table, inside, parse_table, read_table
from flowrig.records.files import LISTED

PLAIN = "time [s],nozzle drop [Pa]\n0,1.5\n1,2.5\n"


def faults(text: str) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        parse_table(text, "log.csv")
    return caught.value.faults


def file_faults(path: Path) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        read_table(path)
    return caught.value.faults


def column_of(*cells: str, delimiter: str = ";", head: str = "drop [Pa]") -> Table:
    """A table of two columns, the second holding ``cells``."""
    stream = io.StringIO()
    csv.writer(stream, delimiter=delimiter, lineterminator="\n").writerows(
        [["number", head], *([str(n), cell] for n, cell in enumerate(cells))]
    )
    return parse_table(stream.getvalue(), "log.csv")


# ---------------------------------------------------------------- what is there


def test_a_plain_table(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(PLAIN.encode())
    table = read_table(path)
    assert (table.name, table.delimiter, table.decimal, len(table), table.notes) == ("log.csv", ",", ".", 2, [])
    assert table.digest == hashlib.sha256(PLAIN.encode()).hexdigest()
    assert [(h.name, h.unit, h.column_number, h.raw) for h in table.headers] == [
        ("time", "s", 1, "time [s]"),
        ("nozzle drop", "Pa", 2, "nozzle drop [Pa]"),
    ]
    assert table.column("nozzle drop") == table.column("nozzle drop [Pa]") == ["1.5", "2.5"]
    assert table.cell(1, "nozzle drop") == table.cell(1, 1) == "2.5"
    assert table.where(1, "nozzle drop") == "log.csv, row 3, 'nozzle drop [Pa]'"
    values, blanks, bad = table.numbers("nozzle drop")
    assert values.tolist() == [1.5, 2.5]
    assert (blanks, bad) == ([], [])
    assert read_table(path, name="logs/log.csv").name == "logs/log.csv"


@pytest.mark.parametrize(
    ("raw", "name", "unit"),
    [
        ("nozzle drop [Pa]", "nozzle drop", "Pa"),
        ("nozzle drop (Pa)", "nozzle drop", "Pa"),
        ("nozzle  drop[ Pa ]", "nozzle drop", "Pa"),
        ("level [dB(A)]", "level", "dB(A)"),
        ("level (dB(A))", "level", "dB(A)"),
        ("level dB(A)", "level dB(A)", None),
        ("drop, Pa", "drop, Pa", None),
        ("drop (corrected) [Pa]", "drop (corrected)", "Pa"),
        ("drop [Pa] raw", "drop [Pa] raw", None),
        ("drop []", "drop", None),
    ],
)
def test_the_unit_in_a_heading(raw: str, name: str, unit: str | None) -> None:
    header = column_of("1.5", "2.5", head=raw).headers[1]
    assert (header.name, header.unit) == (name, unit)


def test_rows_of_a_limited_reading(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(PLAIN + "2,3.5\n3\n")  # the odd row lies beyond the limit
    table = read_table(path, limit_rows=2)
    assert table.column("time") == ["0", "1"]
    assert table.digest == hashlib.sha256(path.read_bytes()).hexdigest()


def test_a_row_number_is_the_line_it_begins_on() -> None:
    text = '# remark, "with a quote\n\nname;drop\n"a\nb";1\n\nc;2\n# another\n"d\n\n# not a remark\n";3\ne;4\n'
    table = parse_table(text)
    assert [table.row_number(row) for row in range(len(table))] == [4, 7, 9, 13]
    assert table.cell(2, "name") == "d\n\n# not a remark"


# ---------------------------------------------------------------- any dialect

NUMBERS: st.SearchStrategy[float | None] = st.one_of(
    st.none(), st.integers(-(10**6), 10**6), st.floats(-1e9, 1e9, allow_nan=False).map(lambda x: x + 0.0)
)


@st.composite
def logs(draw: st.DrawFn) -> tuple[bytes, list[list[float]], str]:
    """A file in a random dialect, its numbers by column, and its delimiter."""
    delimiter = draw(st.sampled_from(",;\t|"))
    comma = delimiter != "," and draw(st.booleans())
    width = draw(st.integers(2, 4))
    first = draw(st.lists(st.floats(0.1, 0.9).map(lambda x: round(x, 3)), min_size=width, max_size=width))
    rows: list[list[float | None]] = [
        list(first),
        *draw(st.lists(st.lists(NUMBERS, min_size=width, max_size=width), max_size=6)),
    ]
    rows = [row for row in rows if any(cell is not None for cell in row)]
    names = [f"reading {k}" for k in range(width)]
    placed = draw(st.sampled_from(["heading", "row", "nowhere"]))
    headers = [f"{name} [Pa]" if placed == "heading" else name for name in names]
    stream = io.StringIO()
    end = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    dialect = draw(st.sampled_from(["excel", "unix"]))  # quotes where needed, and everywhere
    writer = csv.writer(stream, dialect, delimiter=delimiter, lineterminator=end)
    stream.write(
        draw(st.sampled_from(["", f"# a remark{end}", f"Invented logger{end}{end}", f"Logger{delimiter}A{end}"]))
    )
    trailing = [""] if draw(st.booleans()) else []
    writer.writerow(headers + trailing)
    if placed == "row":
        writer.writerow(["Pa"] * width + trailing)
    for row in rows:
        cells = ["" if cell is None else repr(cell) for cell in row]
        writer.writerow([cell.replace(".", ",") if comma else cell for cell in cells] + trailing)
    stream.write(draw(st.sampled_from(["", end, end + end])))
    encoding = draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]))
    values = [[np.nan if (cell := row[k]) is None else float(cell) for row in rows] for k in range(width)]
    return stream.getvalue().encode(encoding), values, delimiter


@settings(deadline=None, max_examples=300)
@given(logs())
def test_the_numbers_written_are_the_numbers_read(log: tuple[bytes, list[list[float]], str]) -> None:
    data, values, delimiter = log
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("flowrig.records.csv_text.read_bytes", lambda *_: data)
        table = read_table("log.csv")
    assert table.delimiter == delimiter
    assert len(table) == len(values[0])
    for k, written in enumerate(values):
        read = table.numbers(f"reading {k}")
        np.testing.assert_array_equal(read.values, written)
        assert read.blanks == np.flatnonzero(np.isnan(written)).tolist()
        assert read.faults == []


@settings(deadline=None)
@given(st.lists(st.one_of(st.floats().map(repr), st.text("0123456789.,eE+-_ Ox", max_size=6)), min_size=1, max_size=5))
def test_a_column_read_at_once_and_cell_by_cell_agree(cells: list[str]) -> None:
    # The fast path takes whole columns only; beside a cell that is no number each is looked at by itself.
    table = column_of("0.5", *cells, "x", delimiter=",")
    slow = table.numbers("drop")
    bad = {fault.where for fault in slow.faults}
    for row in range(len(table)):
        fine = table.where(row, "drop") not in bad
        if fine and row not in slow.blanks:
            assert slow.values[row] == column_of("0.5", table.cell(row, "drop")).numbers("drop").values[1]
        else:
            assert np.isnan(slow.values[row])


def test_metadata_as_wide_as_the_table_is_not_the_header() -> None:
    table = parse_table("Device;SN42\nStart;21.8.2026\nVersion;1.2\ntime [s];drop [Pa]\n0;1,5\n1;2,5\n")
    assert [h.name for h in table.headers] == ["time", "drop"]
    assert table.decimal == ","
    assert table.notes == ["3 lines above the header passed over"]


def test_one_row_below_units_header_and_metadata_of_the_same_width() -> None:
    table = parse_table("Logger,A\nreading,drop\nPa,Pa\n1.0,1.5\n")
    assert (len(table), table.headers[1].unit, table.cell(0, "drop")) == (1, "Pa", "1.5")


def test_a_bad_first_row_is_not_the_header() -> None:
    table = parse_table("time;drop\n0;1O2.4\n1;2.5\n2;2.6\n")
    assert len(table) == 3
    assert len(table.numbers("drop").faults) == 1


def test_a_row_of_units_below_the_header() -> None:
    table = parse_table("time;velocity;drop;where\ns;m/s;[Pa];-\n0;1,5;2,5;A\n")
    assert [(h.name, h.unit) for h in table.headers] == [
        ("time", "s"),
        ("velocity", "m/s"),
        ("drop", "Pa"),
        ("where", "-"),
    ]
    assert table.row_number(0) == 3
    assert "row 2 read as the columns' units" in table.notes


def test_a_row_of_readings_is_not_a_row_of_units() -> None:
    table = parse_table("nozzle;drop [Pa]\nA;1\nm;2\n")  # A and m are units, and here names
    assert table.column("nozzle") == ["A", "m"]


def test_units_in_heading_and_row_must_agree() -> None:
    assert parse_table("time [s];drop [Pa]\ns;Pa\n0;1\n").headers[1].unit == "Pa"
    (fault,) = faults("time [s];drop [Pa]\ns;kPa\n0;1\n")
    assert (fault.where, fault.read) == ("log.csv, row 2, column 2", "'kPa'")


def test_sizes_of_particles_as_headings() -> None:
    table = parse_table("time;0.3;0.5;1.0\n0;10;20;30\n1;11;21;31\n")
    assert table.column("0.5") == ["20", "21"]


def test_one_column_with_decimal_commas() -> None:
    assert parse_table("drop [Pa]\n1,5\n2,5\n").numbers("drop").values.tolist() == [1.5, 2.5]


def test_commas_in_headings_do_not_make_a_delimiter() -> None:
    table = parse_table("drop, corrected [Pa];x\n1,5;2\n3,5;4\n")
    assert [h.name for h in table.headers] == ["drop, corrected", "x"]


def test_blank_rows_count_within_and_not_at_the_end() -> None:
    table = parse_table("a;b\n1;2\n;\n3;4\n;\n;;\n\n")
    assert table.column("a") == ["1", "", "3"]
    assert table.numbers("a").blanks == [1]


@pytest.mark.parametrize("end", [" ", "\t", ";", " ; ; ;"])
def test_blanks_after_the_last_row_are_no_half_written_row(end: str) -> None:
    table = parse_table("a;b\n1;2\n3;4\n" + end)
    assert table.column("b") == ["2", "4"]


# ---------------------------------------------------------------- numbers and times


@pytest.mark.parametrize(
    ("cell", "told"),
    [
        ("1O2.4", "letter O"),
        ("l2.4", "letter I or l"),
        ("nan", "blank"),
        ("-inf", "blank"),
        ("Infinity", "blank"),
        ("---", "blank"),
        ("#N/A", "blank"),
        ("OL", "out of range"),
        (">2000", "out of range"),
        ("23,4", "decimal point"),
        ("1,234.5", "between the thousands"),
        ("1 234", "between the thousands"),
        ("1'234.5", "between the thousands"),
        ("−5.2", "hyphen"),
        ("1.2.3", "second decimal sign"),
        ("12.5 Pa", "in the heading"),
        ("41 %", "in the heading"),
        ("1_000", "Correct"),
        ("1e400", "exponent"),
        ("0x10", "in the heading"),
        ("١٢", "Correct"),
        ("words", "Correct"),
    ],
)
def test_a_bad_cell_is_named_with_a_cure(cell: str, told: str) -> None:
    values, blanks, bad = column_of("1.5", "", cell, "2.5", delimiter=",").numbers("drop")
    np.testing.assert_array_equal(values, [1.5, np.nan, np.nan, 2.5])
    assert blanks == [1]
    (fault,) = bad
    assert fault.where == "log.csv, row 4, 'drop [Pa]'"
    assert fault.read == f"'{cell}'"
    assert told in fault.remedy


@pytest.mark.parametrize("cell", ["1.234", "1.234,5", "12:5"])
def test_a_point_among_decimal_commas_is_not_guessed_at(cell: str) -> None:
    table = column_of("1,5", cell, "2,5")
    assert table.decimal == ","
    assert table.numbers("drop").values[[0, 2]].tolist() == [1.5, 2.5]
    assert len(table.numbers("drop").faults) == 1


def test_semicolons_and_decimal_points() -> None:
    table = column_of("1.5", "2.5", "3")
    assert (table.decimal, table.numbers("drop").values.tolist()) == (".", [1.5, 2.5, 3.0])


@pytest.mark.parametrize("sign", [",", "."])
def test_marks_between_thousands_are_not_taken_for_decimals(sign: str) -> None:
    table = column_of("980", f"1{sign}020", f"12{sign}500")
    values, _, bad = table.numbers("drop")
    np.testing.assert_array_equal(values, [980.0, np.nan, np.nan])
    assert [fault.read for fault in bad] == [f"'1{sign}020'", f"'12{sign}500'"]
    assert "between the thousands" in bad[0].remedy
    # One number that can only be a decimal settles it, and so does a fixed count of decimals, with a note.
    assert column_of("980", f"1{sign}020", f"0{sign}98").numbers("drop").values.tolist() == [980.0, 1.02, 0.98]
    assert column_of("980", f"1{sign}020", f"1{sign}5").notes == []
    table = column_of("0", f"1{sign}020", f"12{sign}500")
    assert table.numbers("drop").values.tolist() == [0.0, 1.02, 12.5]
    assert table.notes == [f"'{sign}' read as the decimal sign, not as a thousands mark"]


def test_decimal_commas_with_exponents() -> None:
    assert column_of("1,5e3", "-2,5E-3").numbers("drop").values.tolist() == [1500.0, -0.0025]


def test_decimal_commas_that_begin_late_in_the_file() -> None:
    table = column_of(*["7"] * 1000, "7,5")
    assert table.numbers("drop").values[-1] == 7.5


def test_bad_cells_beyond_fifty_are_counted() -> None:
    bad = column_of("1", "2", *["x1x"] * 70, *["3"] * 200).numbers("drop").faults
    assert len(bad) == LISTED + 1
    assert bad[-1].read == "and 20 more"


@pytest.mark.parametrize(
    ("cells", "seconds", "head"),
    [
        (["2026-08-21 12:00:00", "2026-08-21T12:00:01.5", "", "2026-08-22 12:00"], [0, 1.5, np.nan, 86400], "at"),
        (["2026-08-21T12:00:00Z", "2026-08-21T14:00:01+02:00"], [0, 1], "at"),
        (["21.08.2026 12:00:00", "21.8.2026 12:01"], [0, 60], "at"),
        (["12:00:00", "12:00:01.25", "12:00:02,5"], [0, 1.25, 2.5], "at"),
        (["23:59:59", "00:00:01", "00:00:02"], [0, 2, 3], "at"),
        (["100", "100,5", "102"], [0, 0.5, 2], "at"),
        (["100", "100.5"], [0, 30], "at [min]"),
        (["100", "100"], [0, 0], "at [ms]"),
    ],
)
def test_times_become_seconds_since_the_first(cells: list[str], seconds: list[float], head: str) -> None:
    values, blanks, bad = column_of(*cells, head=head).time("at")
    np.testing.assert_allclose(values, seconds, rtol=0, atol=1e-6)
    assert blanks == [row for row, cell in enumerate(cells) if not cell]
    assert bad == []


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        (["8/7/2026 12:00", "8/7/2026 12:01"], "day and month"),
        (["12:05", "12:06"], "hours, minutes and seconds"),
        (["12:00:00", "12:00:61"], "Correct"),
        (["2026-08-21 12:00:00", "2026-02-30 12:00:00"], "Correct"),
        (["2026-08-21T12:00:00", "2026-08-21T12:00:01", "2026-08-21T12:00:01Z"], "Correct"),
        (["12:00:05", "12:00:03"], "clock"),
        (["2026-10-25 02:59:59", "2026-10-25 02:00:00"], "an hour"),
        (["100", "1O1"], "letter O"),
    ],
)
def test_times_that_are_none_or_run_backwards(cells: list[str], told: str) -> None:
    bad = column_of(*cells, head="at").time("at").faults
    assert bad
    assert bad[-1].where == f"log.csv, row {len(cells) + 1}, 'at'"
    assert told in bad[-1].remedy


def test_a_time_in_an_unknown_unit_is_a_fault() -> None:
    (fault,) = column_of("1", "2", head="at [ticks]").time("at").faults
    assert (fault.where, fault.read) == ("log.csv, header, 'at [ticks]'", "'ticks'")


def test_a_missing_column_names_those_there_are() -> None:
    with pytest.raises(InputError) as caught:
        parse_table(PLAIN).numbers("nozle drop")
    (fault,) = caught.value.faults
    assert "'time [s]', 'nozzle drop [Pa]'" in fault.read
    assert fault.remedy == "Did you mean 'nozzle drop [Pa]'?"


def test_one_name_in_two_units_is_told_apart_by_the_unit() -> None:
    table = parse_table("t [degC];t [degF]\n20;68\n21;69.8\n")
    assert table.column("t [degF]") == ["68", "69.8"]
    with pytest.raises(InputError, match=r"'t \[degC\]' or 't \[degF\]'"):
        table.column("t")


# ---------------------------------------------------------------- faults of the file


def test_all_faults_of_shape_come_in_one_report() -> None:
    found = faults("a,b,a\n1,2,3\n1\n1,2,3\n1,2,3,4\n")
    assert [f.where for f in found] == ["log.csv, row 1, column 3", "log.csv, row 3", "log.csv, row 5"]
    assert "column 1 too" in found[0].read
    assert (found[1].read, found[1].expected) == ("1 cell, '1'", "3, as in the header")
    assert found[2].read == "4 cells, '1,2,3,4'"


def test_decimal_commas_between_commas_are_recognised() -> None:
    found = faults("time,drop,t\n0,1,5,20,1\n1,2,5,20,2\n")
    assert len(found) == 2
    assert "decimal comma" in found[0].remedy


def test_a_half_written_last_line_is_called_cut_off() -> None:
    (fault,) = faults("a,b,c\n1,2,3\n4,5")
    assert fault.where == "log.csv, row 3"
    assert "cut off" in fault.remedy
    (fault,) = faults("a,b,c\n1,2,3\n4,5\n")
    assert "cut off" not in fault.remedy
    assert "cut off" in faults('a,b,c\n1,2,3\n4,"5')[0].remedy


def test_a_whole_last_line_without_its_end_is_noted() -> None:
    assert parse_table(PLAIN).notes == []
    (note,) = parse_table(PLAIN[:-1]).notes
    assert "no line end after the last row" in note


def test_quotes_gone_wrong() -> None:
    (fault,) = faults('a,b\n1,"2"x\n3,4\n')
    assert (fault.where, fault.expected) == ("log.csv, row 2", "quotes round a whole cell")
    (fault,) = faults('a,b,c\n1,"2,3\n4,5,6\n7,"8,9\n1,2,3\n')
    assert fault.where == "log.csv, row 2"


def test_a_quote_that_takes_in_lines_is_named() -> None:
    (fault,) = faults('a,b,c\n1,"2,3\n4,5",6,7\n1,2,3\n')
    assert fault.where == "log.csv, row 2"
    assert "takes in the lines below" in fault.remedy


@pytest.mark.parametrize("text", ["time,drop [Pa]\n", "time,drop [Pa]", "drop [Pa]\n"])
def test_a_header_without_rows(text: str) -> None:
    (fault,) = faults(text)
    assert fault.read == "a header without rows"


@pytest.mark.parametrize("text", ["0;1\n2;3\n", "1.5\n2.5\n", "# time;drop\n0;1\n2;3\n", "# only a remark\n"])
def test_rows_without_a_header(text: str) -> None:
    (fault,) = faults(text)
    assert "header" in fault.expected


@pytest.mark.parametrize("text", ["", "\n\n", "\ufeff\n"])
def test_an_empty_file(text: str) -> None:
    (fault,) = faults(text)
    assert fault.where == "log.csv"


def test_a_missing_file_suggests_a_near_name(tmp_path: Path) -> None:
    (tmp_path / "nozzle.csv").write_text(PLAIN)
    assert file_faults(tmp_path / "nozle.csv")[0].remedy == "Did you mean 'nozzle.csv'?"


def test_many_faults_are_counted() -> None:
    found = faults("a,b\n" + "1,2\n" * 100 + "1\n" * 90)
    assert (len(found), found[-1].read) == (LISTED + 1, "and 40 more")


# ---------------------------------------------------------------- bytes


def test_the_windows_encoding_is_accepted_with_a_note(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes("time [s];temperature [°C];count [1/µm]\n0;20,5;1\n".encode("cp1252"))
    table = read_table(path)
    assert [h.unit for h in table.headers] == ["s", "°C", "1/µm"]
    assert table.notes == ["read in the Windows encoding (cp1252), not being UTF-8"]


@pytest.mark.parametrize("odd", [b"\x81", "°".encode() + b"\xb0"])
def test_other_bytes_are_a_fault_with_their_line(tmp_path: Path, odd: bytes) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(b"time;t\n0;1\n1;2" + odd + b"\n")
    (fault,) = file_faults(path)
    assert fault.where.startswith("log.csv, line 3, column ")
    assert "UTF-8" in fault.remedy


def test_utf_16_with_its_mark_is_read_with_a_note(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    for encoding, mark in [("utf-16-le", b"\xff\xfe"), ("utf-16-be", b"\xfe\xff")]:
        path.write_bytes(mark + PLAIN.replace("Pa", "°C").encode(encoding))
        table = read_table(path)
        assert (table.headers[1].unit, table.notes) == ("°C", ["read as UTF-16"])
    path.write_bytes(b"\xff\xfe" + PLAIN.encode("utf-16-le")[:-1])
    assert "cut off" in file_faults(path)[0].remedy


def test_a_nul_byte_is_a_fault_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(PLAIN.encode() + b"2,\0\0\0\0")
    (fault,) = file_faults(path)
    assert fault.where == "log.csv, line 4"
    assert "0x00" in fault.read


@pytest.mark.parametrize("quote", ["", '"'])
def test_a_cell_of_more_than_a_megabyte_is_refused(quote: str) -> None:
    (fault,) = faults(
        "a,b\n1,2\n3," + quote + ("x,\n" if quote else "x") * CELL_LIMIT * (2 - bool(quote)) + quote + "\n4,5\n"
    )
    assert "1,048,576 characters" in fault.read
    assert "row" in fault.where


def test_the_cell_limit_of_the_process_is_left_as_it_was() -> None:
    before = csv.field_size_limit()
    parse_table(PLAIN)
    faults("")
    faults("a,b\n1\n")
    assert csv.field_size_limit() == before


def test_a_cell_of_a_gigabyte_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    with path.open("wb") as stream:
        stream.write(b"a,b\n1,2\n3,")
        stream.truncate(1 << 30)  # sparse: takes no room on the disk
    tracemalloc.start()
    (fault,) = file_faults(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert "1,073,741,824 bytes" in fault.read
    assert peak < 1_000_000
    limit = 900 * 1024 * 1024  # less than the file; numpy alone reserves some hundreds of megabytes
    code = (
        f"import resource; resource.setrlimit(resource.RLIMIT_AS, ({limit}, {limit}))\n"
        f"from flowrig.records.csv_text import read_table; read_table({str(path)!r})"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        env={"OPENBLAS_NUM_THREADS": "1", "PYTHONPATH": str(Path(__file__).parents[2])},
    )
    assert "InputError" in done.stderr
    assert "MemoryError" not in done.stderr
    assert f"{CSV_LIMIT:,} bytes" in done.stderr


def test_a_long_cell_below_the_file_limit_is_refused_before_it_is_decoded(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    size = 64 * 1024 * 1024
    path.write_bytes(b"a,b\n1,2\n3," + b"x" * size)
    tracemalloc.start()
    (fault,) = file_faults(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert "characters" in fault.read
    assert peak < 1.1 * size  # the bytes once, and nothing made of them


# ---------------------------------------------------------------- names in records


def refused(folder: Path, relative: str) -> Fault:
    with pytest.raises(InputError) as caught:
        inside(folder, relative, "record.toml, line 3, flow[1].log")
    (fault,) = caught.value.faults
    assert fault.where == "record.toml, line 3, flow[1].log"
    return fault


def test_a_file_beside_or_below_the_record(tmp_path: Path) -> None:
    assert inside(tmp_path, "log.csv", "") == tmp_path.resolve() / "log.csv"
    assert inside(tmp_path, "logs/../logs/a b.csv", "") == tmp_path.resolve() / "logs" / "a b.csv"


@pytest.mark.parametrize(
    "relative",
    [
        "/data/log.csv",
        "../log.csv",
        "logs/../../log.csv",
        "~/log.csv",
        "C:/data/log.csv",
        ".",
        "..",
        "",
        " ",
        "C:log.csv",
    ],
)
def test_a_file_elsewhere_is_refused(tmp_path: Path, relative: str) -> None:
    refused(tmp_path, relative)


def test_an_absolute_name_is_refused_even_if_it_leads_inside(tmp_path: Path) -> None:
    refused(tmp_path, str(tmp_path / "log.csv"))


def test_a_backslash_is_refused_with_the_name_to_write(tmp_path: Path) -> None:
    assert "'logs/a.csv'" in refused(tmp_path, "logs\\a.csv").remedy
    assert "escape" in refused(tmp_path, "C:\new.csv").remedy  # what TOML makes of "C:\new.csv"
    refused(tmp_path, "log\0.csv")


def test_a_symbolic_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    folder, elsewhere = tmp_path / "record", tmp_path / "elsewhere"
    folder.mkdir()
    elsewhere.mkdir()
    (folder / "link").symlink_to(elsewhere)
    (folder / "near.csv").symlink_to(folder / "log.csv")
    (folder / "loop").symlink_to(folder / "loop")
    refused(folder, "link/log.csv")
    refused(folder, "loop/log.csv")
    assert inside(folder, "near.csv", "") == folder.resolve() / "log.csv"


def test_a_clock_goes_before_dates_that_change_at_midnight(tmp_path):
    from flowrig.records.tables import time_column

    rows = ["11.06.2026;23:59:58;1.0", "11.06.2026;23:59:59;1.1", "12.06.2026;00:00:00;1.2", "12.06.2026;00:00:01;1.0"]
    path = tmp_path / "log.csv"
    path.write_text("Date;Time;P [Pa]\n" + "\n".join(rows) + "\n", encoding="utf-8")
    table = read_table(path)
    header = time_column(table)
    assert header.raw == "Time"
    assert table.time(header.raw).values.tolist() == [0.0, 1.0, 2.0, 3.0]
    path.write_text("Date;P [Pa]\n11.06.2026;1.0\n12.06.2026;1.1\n", encoding="utf-8")
    assert time_column(read_table(path)).raw == "Date"
