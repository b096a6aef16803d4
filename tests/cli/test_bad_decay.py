"""Bad [decay], [[decay_runs]] and files of their counts: one clear report, exit code 2, no file touched."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from tests.cli.decay_files import FILES, RECORD
from tests.cli.rig import OUTPUTS, Rig, edited, spread


@pytest.fixture
def rig(tmp_path: Path) -> Rig:
    return Rig(tmp_path)


def lay_out(rig: Rig, **changed: str) -> None:
    for name, text in FILES.items():
        rig.write(name, changed.get(name.split(".")[0], text))


def line(field: str, section: str = "decay") -> str:
    """Where a field of the sound record stands."""
    start = RECORD.index(f"[{section}]") if f"[{section}]" in RECORD else RECORD.index(section)
    number = RECORD[: RECORD.index(f"\n{field} = ", start)].count("\n") + 2
    return f"record.toml, line {number}, "


def test_the_sound_record_is_sound(rig: Rig) -> None:
    lay_out(rig)
    code, out, err = rig.run("reduce", "record.toml", *OUTPUTS)
    assert (code, err) == (0, "")
    assert "Clean air by decay in a room" in out
    assert max(map(len, out.splitlines())) <= 80
    assert "Windows: from 1 min after the start until what is above the floor is down to 0.1" in " ".join(out.split())
    part = json.loads((rig.folder / "result.json").read_text(encoding="utf-8"))["parts"]["decay"]
    names = [estimate["name"] for estimate in part["estimates"]]
    assert names[:2] == ["clean_air_0.3_to_1_um", "clean_air_from_1_um"]
    assert part["estimates"][0]["value"] == pytest.approx(48.6 * 8.0, rel=0.01)
    assert any(said.startswith("on, 0.3 to 1 um: 40 rows from 1 to 40 min") for said in part["sentences"])
    assert "clean-air rate" in (rig.folder / "result.csv").read_text(encoding="utf-8") or "clean_air" in (
        rig.folder / "result.csv"
    ).read_text(encoding="utf-8")


NET = 'net_volume = "48.6 m3 ± 1 m3"'
ON = 'name = "on"\ncleaner = "on"\ncounts = "on.csv"'
IN_RECORD = spread(
    2,
    ("volume without ±", NET, 'net_volume = "48.6 m3"', (line("net_volume"), "'48.6 m3'", "±")),
    ("no volume", f"{NET}\n", "", ("record.toml, line", "neither net_volume nor room_volume")),
    ("two volumes", NET, NET + '\nroom_volume = "52 m3 ± 1 m3"', ("record.toml, line", "only one of: net_volume or")),
    ("an area", NET, 'net_volume = "20 m2 ± 1 m2"', (line("net_volume"), "volume")),
    ("taken from a net one", NET, NET + '\ntaken_up = "2 m3 ± 1 m3"', ("record.toml, line", "no further volume")),
    ("more stands in it than it holds", NET, 'room_volume = "52 m3 ± 1 m3"\ntaken_up = "60 m3 ± 1 m3"',
        ("record.toml, line", "less than the room's volume")),
    ("another natural run", '"fan running without filters"', '"fan off"', (line("natural_run"), "one of")),
    ("no runs", RECORD[RECORD.index("[[decay_runs]]"):], "",
        ("record.toml", "no run with the cleaner on"), ("record.toml", "no run with the cleaner off")),
    ("one run alone", RECORD[RECORD.rindex("[[decay_runs]]"):], "",
        ("record.toml", "no run with the cleaner off", "natural_rate")),
    ("a natural rate beside a run", NET, NET + '\nnatural_rate = "0.4 1/h ± 0.2 1/h"',
        ("record.toml, line", "natural_rate beside a run", "Remove natural_rate")),
    ("a single table of runs", '[[decay_runs]]\nname = "on"', '[decay_runs]\nname = "on"', ("record.toml",)),
    ("two runs of one name", 'name = "off"', 'name = "on"', ("record.toml, line", "'on'", "a name of its own")),
    ("neither on nor off", 'cleaner = "on"', 'cleaner = "yes"', ("record.toml, line", "'yes'", "on, off")),
    ("counts and a half-life", 'counts = "on.csv"', 'counts = "on.csv"\nhalf_life = "9 min ± 1 min"',
        ("record.toml, line", "only one of: counts or half_life")),
    ("neither of them", '\ncounts = "on.csv"', "", ("record.toml, line", "neither counts nor half_life")),
    ("half-life without ±", 'counts = "on.csv"', 'half_life = "9 min"', ("record.toml, line", "'9 min'", "±")),
    ("a window without counts", 'counts = "on.csv"', 'half_life = "9 min ± 1 min"\nstart = "2 min"',
        ("record.toml, line", "a run with its counts")),
    ("a floor twice", 'background = "before.csv"', 'background = "before.csv"\nfloor_at_most = "5 %"',
        ("record.toml, line", "only one of: background or floor_at_most")),
    ("an end before the start", 'counts = "on.csv"', 'counts = "on.csv"\nstart = "20 min"\nend = "10 min"',
        ("record.toml, line", "after the start")),
    ("a start that is no time of the table", 'counts = "on.csv"', 'counts = "on.csv"\nstart = "3 h"',
        ("record.toml, line", "'3 h'", "0 to 40 min")),
    ("no such file", '"on.csv"', '"of.csv"', ("record.toml, line", "of.csv")),
    ("another counter", NET, NET + '\ncounter = "B"', ("record.toml, line", "'B'", "one of: A")),
    ("ranges that are none", NET, NET + '\nranges = "small, large"', ("record.toml, line", "ranges of particle size")),
    ("a share as a number of per cent", NET, NET + "\nmixing_limit = 3", ("record.toml, line", "read 3;", "0 to 1")),
    ("a mixing time without a unit", NET, NET + "\nmixing_time = 60", ("record.toml, line", "read 60;", "min")),
    ("a misspelt field", NET, NET + '\nmixing_tme = "1 min"', ("record.toml, line", "Did you mean mixing_time?")),
    ("a misspelt table", "[decay]", "[decays]", ("record.toml, line", "Did you mean [decay]?")),
    ("runs without their room", RECORD[RECORD.index("[decay]"):RECORD.index("[[decay_runs]]")], "",
        ("record.toml, line", "[[decay_runs]] without [decay]")),
)  # fmt: skip


@pytest.mark.parametrize(("old", "new", "says"), IN_RECORD)
def test_bad_records(rig: Rig, old: str, new: str, says: tuple[tuple[str, ...], ...]) -> None:
    lay_out(rig, record=edited(RECORD, old, new))
    rig.refuses("record.toml", says=says)


SOUND = FILES["on.csv"]
HEAD = "time [min],0.3 um,1 um,note"
IN_FILE = spread(
    2,
    ("no time", HEAD, "minutes,0.3 um,1 um,note",
        ("on.csv, header 'minutes'", "a column that is no field"), ("on.csv, header", "a column 'time'")),
    ("times without a unit", HEAD, "time,0.3 um,1 um,note", ("on.csv, header 'time'", "without a unit", "[min]")),
    ("minutes as seconds", HEAD, "time [s],0.3 um,1 um,note", ("on.csv, row 3", "'1'", "60 s long"),
        *(("on.csv, row",) for _ in range(4)), ("on.csv, column",)),
    ("a column that is no size", HEAD, "time [min],small,1 um,note", ("on.csv, header 'small'", "a size, such as")),
    ("one size twice", HEAD, "time [min],1.0 um,1 um,note", ("on.csv, header", "a size for each column")),
    ("a channel where counts are cumulative", HEAD, "time [min],0.3-1 um,1 um,note",
        ("on.csv, header '0.3-1 um'", "one size in each header")),
    ("more above than in all", "\n3,24014", "\n3,1014", ("on.csv, row 5", "'1014'", "no fewer than under '1 um'")),
    ("a letter among digits", "\n2,", "\n2,x", ("on.csv, row 4, '0.3 um'", "'x27568'")),
    ("a time that stands still", "\n3,", "\n2,", ("on.csv, row 5, column 'time [min]'", "'2'", "later")),
    ("a blank count", "\n2,27568", "\n2,", ("on.csv, row 4",)),
    ("a count below nothing", "\n2,27568", "\n2,-27568", ("on.csv, row 4", "'-27568'", "0 or more")),
    ("half a particle", "\n2,27568", "\n2,27568.5", ("on.csv, row 4", "'27568.5'", "a whole number of counts")),
    ("a concentration where samples are counted", HEAD, "time [min],0.3 um [1/L],1 um,note",
        ("on.csv, header '0.3 um [1/L]'", "'1/L'", "sample")),
    ("other channels than the other runs", HEAD, "time [min],0.3 um,2 um,note",
        ("off.csv, header", "those of on.csv"), ("before.csv, header", "those of on.csv")),
)  # fmt: skip


@pytest.mark.parametrize(("old", "new", "says"), IN_FILE)
def test_bad_files_of_counts(rig: Rig, old: str, new: str, says: tuple[tuple[str, ...], ...]) -> None:
    lay_out(rig, on=edited(SOUND, old, new))
    rig.refuses("record.toml", says=says)


def test_counts_without_a_counter_need_their_unit(rig: Rig) -> None:
    start, end = RECORD.index("[counters.A]"), RECORD.index("[decay]")
    lay_out(rig, record=RECORD[:start] + RECORD[end:])
    faults = [
        (f"{name}.csv, header '{size}'", f"a unit of concentration, as in '{size} [1/cm3]', or a table [counters.…]")
        for name in ("on", "off", "before")
        for size in ("0.3 um", "1 um")
    ]
    rig.refuses("record.toml", says=tuple(faults))


def test_too_few_rows_are_told_and_no_rate(rig: Rig) -> None:
    lay_out(rig, on="\n".join(SOUND.splitlines()[:6]) + "\n")
    code, out, err = rig.run("reduce", "record.toml")
    assert (code, out) == (1, "")
    assert err.startswith("No number follows from this record.")
    assert "rows of on are in its window, and 6 are needed" in err


FILLED = {
    "title": '"T"',
    "date": "2026-08-24",
    "sample_flow": '"2.83 L/min"',
    "sample_time": '"60 s"',
    "counts": '"by channel"',
    "per": '"sample"',
    "net_volume": '"48.6 m3 ± 1 m3"',
}


def test_a_filled_sheet_reduces(rig: Rig) -> None:
    code, out, err = rig.run("sheet", "decay", "--into", ".")
    assert (code, err) == (0, ""), err
    assert "flowrig reduce record.toml" in out
    text = (rig.folder / "record.toml").read_text(encoding="utf-8")
    assert max(map(len, text.splitlines())) <= 100
    for word in ("Salt, smoke and incense", "carbon-monoxide alarm"):
        assert word in " ".join(text.replace("#", " ").split())
    code, out, err = rig.run("reduce", "record.toml")
    assert code == 2
    for word in ("no title", "no sample_flow", "neither net_volume nor room_volume"):
        assert word in err
    for name, value in FILLED.items():
        assert f'\n{name} = ""' in text, name
        text = text.replace(f'\n{name} = ""', f"\n{name} = {value}", 1)
    rig.write("record.toml", text)
    for name, loss in (("on.csv", 8.4), ("off.csv", 0.4)):
        lines = (rig.folder / name).read_text(encoding="utf-8").splitlines()
        assert lines[0] == "time [min],0.3 um,0.5 um,1 um,note"
        counted = (round(36000 * math.exp(-loss * minute / 60)) for minute in range(len(lines) - 1))
        filled = [f"{minute},{n},{n // 4},{n // 20}," for minute, n in enumerate(counted)]
        rig.write(name, "\n".join([lines[0], *filled]) + "\n")
    code, out, err = rig.run("reduce", "record.toml")
    assert (code, err) == (0, ""), err
    for code in ("floor assumed", "natural decay not alike"):  # what is left blank is no good news
        assert code in out


@pytest.mark.parametrize("words", ["decay", "decay_runs.background", "not one decay", "floor assumed", "natural_run"])
def test_what_is_declared_is_explained(rig: Rig, words: str) -> None:
    code, out, err = rig.run("explain", words)
    assert (code, err) == (0, "")
    assert len(out) > 100
