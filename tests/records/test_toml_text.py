import hashlib
import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowrig.errors import Fault, InputError
from flowrig.records.files import LISTED, near_name, quoted
from flowrig.records.toml_text import TOML_LIMIT, load, loads

RECORD = """\
# an invented test of an invented unit
title = "Reading-room cleaner"
air.room.pressure = "1003 hPa"

[air.meter]
temperature = "23.4 degC"   # a remark with [brackets] and "quotes"
"wet bulb" = "16 degC"

[nozzles.A]
zero = { before = "0.0 Pa", after = "0.3 Pa" }

[[flow]]
name = "first"
open = [
  "A",   # ]
  "B",
]
note = \"\"\"
[flow]
drop = 1
\"\"\"
drop = "1 Pa"

[[flow]]
name = "second"
literal = '''
]'''
drop = "2 Pa"

[flow.columns]
drop = "nozzle drop [Pa]"
"""


def faults(text: str) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        loads(text, "record.toml")
    return caught.value.faults


def file_faults(path: Path) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        load(path)
    return caught.value.faults


# ---------------------------------------------------------------- where a key stands


@pytest.mark.parametrize(
    ("path", "shown"),
    [
        (("title",), "record.toml, line 2, title"),
        (("air", "room", "pressure"), "record.toml, line 3, air.room.pressure"),
        (("air", "meter", "temperature"), "record.toml, line 6, air.meter.temperature"),
        (("air", "meter", "wet bulb"), 'record.toml, line 7, air.meter."wet bulb"'),
        (("nozzles", "A"), "record.toml, line 9, nozzles.A"),
        (("nozzles", "A", "zero", "after"), "record.toml, line 10, nozzles.A.zero.after"),
        (("flow", 0), "record.toml, line 12, flow[1]"),
        (("flow", 0, "open", 1), "record.toml, line 14, flow[1].open[2]"),
        (("flow", 0, "drop"), "record.toml, line 22, flow[1].drop"),
        (("flow", 1, "drop"), "record.toml, line 28, flow[2].drop"),
        (("flow", 1, "columns", "drop"), "record.toml, line 31, flow[2].columns.drop"),
        (("air", "meter", "pressure"), "record.toml, line 5, air.meter.pressure"),  # missing: its table's line
        (("flow", 1, "method"), "record.toml, line 24, flow[2].method"),
        (("sound", "level"), "record.toml, sound.level"),  # missing, and its table too
        ((), "record.toml"),
    ],
)
def test_where_names_line_and_path(path: tuple[str | int, ...], shown: str) -> None:
    assert loads(RECORD, "record.toml").where(*path) == shown


def test_lines_are_the_same_with_windows_line_ends() -> None:
    assert loads(RECORD.replace("\n", "\r\n")).line("flow", 1, "drop") == 28


KEYS = st.text(st.sampled_from("abc-_ .é\"'#=[]"), min_size=1, max_size=4)
VALUES = st.one_of(
    st.integers(-5, 5).map(str),
    st.sampled_from(['"a # ["', "'\\['", "[\n 1, # ]\n 2,\n]", '"""\n[x]\ny = 1\n"""', "'''\n]'''", "{ a = [1,\n2] }"]),
)


@settings(deadline=None)
@given(st.lists(st.tuples(KEYS, VALUES, st.integers(0, 2)), min_size=1, max_size=8, unique_by=lambda item: item[0]))
def test_every_key_is_found_on_the_line_it_was_written_on(items: list[tuple[str, str, int]]) -> None:
    text, expected = "", {}
    for key, value, blanks in items:
        text += "\n" * blanks
        expected[key] = text.count("\n") + 1
        text += '"' + key.replace('"', '\\"') + f'" = {value}\n'
    document = loads(text)
    assert {key: document.line(key) for key in document.data} == expected


@settings(deadline=None)
@given(st.lists(st.sampled_from(["[[flow]]", "x = 1", "[[flow.part]]"]), max_size=12))
def test_arrays_of_tables_are_counted(lines: list[str]) -> None:
    text, flow, part = "title = 1\n[[flow]]\n", 0, -1
    table: tuple[str | int, ...] = ("flow", 0)
    expected = {table: 2}
    used = set()
    for number, line in enumerate(lines, 3):
        if line == "[[flow]]":
            flow, part = flow + 1, -1
            table = ("flow", flow)
            expected[table] = number
        elif line == "[[flow.part]]":
            part += 1
            table = ("flow", flow, "part", part)
            expected[table] = number
        elif table in used:
            line = ""
        else:
            used.add(table)
            expected[(*table, "x")] = number
        text += line + "\n"
    document = loads(text)
    assert {path: document.line(*path) for path in expected} == expected


def test_a_long_list_is_one_statement() -> None:
    document = loads("x = [\n" + "1.5,\n" * 20_000 + "]\ny = 1\n")
    assert document.line("y") == 20_003


# ---------------------------------------------------------------- what does not parse


@pytest.mark.parametrize(
    ("line", "remedy"),
    [
        ("drop = 23,4", "Write: drop = 23.4"),
        ("temperature = 23.4 degC", 'Write: temperature = "23.4 degC"'),
        ("temperature = 23,4 degC  # warm", 'Write: temperature = "23.4 degC"  # warm'),
        ("temperature: 23,4 degC", 'Write: temperature = "23.4 degC"'),
        ("title = “Reading room”", 'Write: title = "Reading room"'),
        ("title = ‘Reading room’", "Write: title = 'Reading room'"),
        (r'log = "C:\data\new.csv"', r"Write: log = 'C:\data\new.csv'"),
        ('log = "C:\\data\\"', "Write: log = 'C:\\data\\'"),
        ("date = 21.8.2026", "Write: date = 2026-08-21"),
        ("date = 2026/8/7", "Write: date = 2026-08-07"),
        ('title = "Reading room', 'Write: title = "Reading room"'),
        ('title = Reading room"', 'Write: title = "Reading room"'),
        ('open = ["A", "B"', 'Write: open = ["A", "B"]'),
        ('zero = { before = "0 Pa"', 'Write: zero = { before = "0 Pa"}'),
        ("[air.meter", "Write: [air.meter]"),
        ("[[flow]", "Write: [[flow]]"),
        ('title: "Reading room"', 'Write: title = "Reading room"'),
        ('title "Reading room"', 'Write: title = "Reading room"'),
        ('title\t"Reading room"', 'Write: title = "Reading room"'),
        ("drops = [23,4; 24,1]", "Write: drops = [23.4, 24.1]"),
        ("drops = [1 Pa, 2 Pa]", 'Write: drops = ["1 Pa", "2 Pa"]'),
        ("zero = { before = 0.0 Pa, after = 0.3 Pa }", 'Write: zero = { before = "0.0 Pa", after = "0.3 Pa" }'),
        ('zero = {\n  before = "0 Pa",\n  after = "1 Pa",\n}', 'Write: zero = { before = "0 Pa", after = "1 Pa" }'),
        ("ratio = .5", "Write: ratio = 0.5"),
        ("ratio = 5.", "Write: ratio = 5.0"),
        ("invented = True", "Write: invented = true"),
        ('relative humidity = "41 %"', 'Write: relative_humidity = "41 %"'),
        ("[nozzles.reading room]", 'Write: [nozzles."reading room"]'),
        ("größe = 1", 'Write: "größe" = 1'),
        ('title = "Reading room",', 'Write: title = "Reading room"'),
        ("count = 1 // one", "Write: count = 1 # one"),
        ("count\u00a0= 1", "Write: count = 1"),
        ("\ufeffcount = 1", "Write: count = 1"),
    ],
)
def test_the_hint_says_what_was_probably_meant(line: str, remedy: str) -> None:
    (fault,) = faults(f"a = 1\n{line}\n")
    assert fault.remedy == remedy
    assert fault.where.startswith("record.toml, line 2")
    assert fault.read == quoted(line.split("\n")[0].strip())


@pytest.mark.parametrize("line", ["date = 8/7/2026", "date = 31.2.2026", "date = 8-7-26", "temperature ="])
def test_what_cannot_be_guessed_is_not_guessed(line: str) -> None:
    (fault,) = faults(line)
    assert "Write:" not in fault.remedy
    assert "2026-08-21" in fault.expected or fault.expected == "a value after ="


@pytest.mark.parametrize("line", ["just words", "x == 5", 'size = "20" x 25"', 'open = ["A, "B"]', "x = 10'000"])
def test_without_a_hint_the_reader_of_toml_speaks(line: str) -> None:
    (fault,) = faults(line)
    assert fault.remedy.startswith("The TOML reader says:")


def test_column_is_that_of_the_first_wrong_character() -> None:
    assert faults("temperature = 23.4 degC")[0].where == "record.toml, line 1, column 20"


def test_line_within_a_list_is_that_of_the_wrong_element() -> None:
    (fault,) = faults("drops = [\n  1,\n  2 Pa,\n  3,\n]\n")
    assert (fault.where[:20], fault.read, fault.remedy) == ("record.toml, line 3,", "'2 Pa,'", 'Write: "2 Pa",')


def test_every_broken_statement_is_reported_in_order() -> None:
    found = faults('title = “a”\nfine = 1\ndrop = 23,4\nfine = 2\n[x\ny = 1 Pa\n[x]\n[x]\nz = "')
    assert [int(f.where.split("line ")[1].split(",")[0]) for f in found] == [1, 3, 4, 5, 6, 8, 9]


def test_an_unclosed_list_does_not_swallow_the_statements_below() -> None:
    found = faults('open = ["A"\n[[flow]]\ndrop = 1 Pa\n')
    assert [f.remedy for f in found] == ['Write: open = ["A"]', 'Write: drop = "1 Pa"']


def test_an_unclosed_text_of_several_lines_is_one_fault() -> None:
    (fault,) = faults('title = 1\nnote = """abc\nfoo bar\nbaz')
    assert (fault.where, fault.read, fault.remedy) == ("record.toml, line 2", '\'note = """abc\'', 'Write: baz"""')


def test_keys_below_a_broken_header_do_not_seem_repeated() -> None:
    found = faults("[air.unit]\nt = 1\n[air.meter\nt = 2\n")
    assert [f.remedy for f in found] == ["Write: [air.meter]"]


def test_a_repeated_key_names_both_lines() -> None:
    (fault,) = faults("[air.meter]\nt = 1\n[air.unit]\nt = 1\np = 2\nt = 3\n")
    assert (fault.where, fault.read) == ("record.toml, line 6", "'t = 3' a second time")
    assert fault.remedy == "It already stands on line 4: remove or rename one of them."


def test_a_repeated_table_names_both_lines_and_the_way_to_write_several() -> None:
    (fault,) = faults("[flow]\na = 1\n\n[flow]\na = 2\n")
    assert fault.where == "record.toml, line 4"
    assert "line 1" in fault.remedy
    assert "[[name]]" in fault.remedy


def test_a_table_that_clashes_with_a_value_is_reported() -> None:
    (fault,) = faults("zero = { before = 1 }\n[zero.after]\nx = 1\n")
    assert fault.where == "record.toml, line 2"
    assert "Cannot declare" in fault.remedy


@pytest.mark.parametrize("text", ["x = " + "[" * 100_000, "x = " + "9" * 5000])
def test_what_the_parser_itself_stumbles_over_is_a_fault(text: str) -> None:
    assert len(faults(text)) == 1


def test_many_faults_are_cut_short() -> None:
    found = faults("a = 1 Pa\n" * 500)
    assert len(found) == LISTED + 1
    assert found[-1].read == "and more"


def test_tabs_are_spaces() -> None:
    assert loads("[x]\n\ty\t=\t1\t# one\n").data == {"x": {"y": 1}}


def test_escape_sequences_are_not_passed_to_the_terminal() -> None:
    (fault,) = faults("x = \x1b[31m\n")
    assert "\x1b" not in str(fault)


# ---------------------------------------------------------------- files and bytes


def test_load_keeps_name_path_and_digest(tmp_path: Path) -> None:
    path = tmp_path / "record.toml"
    path.write_bytes(RECORD.encode())
    document = load(path)
    assert (document.name, document.path, document.digest) == (
        "record.toml",
        path,
        hashlib.sha256(RECORD.encode()).hexdigest(),
    )
    assert load(path, name="a/record.toml").where("title") == "a/record.toml, line 2, title"
    assert loads(RECORD).path is None


def test_a_byte_order_mark_is_accepted(tmp_path: Path) -> None:
    path = tmp_path / "record.toml"
    path.write_bytes(b"\xef\xbb\xbftitle = 1\n")
    assert load(path).data == {"title": 1}


def test_latin_1_names_byte_line_and_cure(tmp_path: Path) -> None:
    path = tmp_path / "record.toml"
    path.write_bytes('title = "é"\nfine = 1\ntemperature = "23 °C"\n'.encode("latin-1"))
    first, second = file_faults(path)
    assert second.where == "record.toml, line 3, column 19"
    assert "byte 0xB0, '°' in the Windows encoding" in second.read
    assert "UTF-8" in second.remedy
    assert first.where == "record.toml, line 1, column 10"


@pytest.mark.parametrize(("encoding", "told"), [("utf-16", "0xFFFE"), ("utf-16-le", "0x00"), ("utf-16-be", "0x00")])
def test_utf_16_is_named(tmp_path: Path, encoding: str, told: str) -> None:
    path = tmp_path / "record.toml"
    path.write_bytes("title = 1\n".encode(encoding))
    (fault,) = file_faults(path)
    assert told in fault.read
    assert "line 1" in fault.where
    assert "UTF-8" in fault.remedy


@pytest.mark.parametrize("text", ["", "\n\n", "\ufeff", "# only a remark\n"])
def test_an_empty_file_is_a_fault(tmp_path: Path, text: str) -> None:
    path = tmp_path / "record.toml"
    path.write_text(text, encoding="utf-8")
    (fault,) = file_faults(path)
    assert fault.where == "record.toml"


def test_a_missing_file_suggests_a_near_name(tmp_path: Path) -> None:
    (tmp_path / "Record.toml").write_text("x = 1")
    (tmp_path / "other.csv").write_text("")
    (fault,) = file_faults(tmp_path / "recrod.toml")
    assert fault.remedy == "Did you mean 'Record.toml'?"


def test_a_missing_file_with_no_near_name_and_a_missing_folder(tmp_path: Path) -> None:
    (fault,) = file_faults(tmp_path / "zzz.toml")
    assert "Did you mean" not in fault.remedy
    (fault,) = file_faults(tmp_path / "nowhere" / "record.toml")
    assert "no folder" in fault.read


def test_a_folder_a_pipe_and_a_file_used_as_a_folder_are_faults(tmp_path: Path) -> None:
    assert "a folder" in file_faults(tmp_path)[0].read
    os.mkfifo(tmp_path / "pipe")
    assert "a pipe" in file_faults(tmp_path / "pipe")[0].read
    (tmp_path / "file").write_text("x = 1")
    assert len(file_faults(tmp_path / "file" / "record.toml")) == 1


def test_an_unreadable_file_is_a_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    assert "nothing" in file_faults(tmp_path / "loop")[0].read
    assert "null" in file_faults(tmp_path / "a\0b")[0].read
    path = tmp_path / "record.toml"
    path.write_text("x = 1")

    def refuse(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)  # the tests may run as a user to whom nothing is refused
    assert "Permission denied" in file_faults(path)[0].read


def test_a_file_too_large_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "record.toml"
    with path.open("wb") as stream:
        stream.truncate(TOML_LIMIT + 1)
    (fault,) = file_faults(path)
    assert "4,194,305 bytes" in fault.read


def test_near_name_asks_for_some_likeness() -> None:
    assert near_name("presure", ["pressure", "temperature"]) == "pressure"
    assert near_name("drop", ["temperature"]) is None
