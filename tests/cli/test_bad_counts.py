"""Bad tables of particle counts: one clear report of every fault, exit code 2, no file touched."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.rig import Rig, edited, spread

COUNTS = """number,run,place,counter,point,velocity [m/s],0.3 um,0.5 um,1 um
1,in use,upstream,A,,,15969,1678,479
2,in use,downstream,A,left,2.1,4691,371,93
3,in use,upstream,A,,,15800,1690,470
4,in use,downstream,A,right,1.8,4600,380,88
5,in use,upstream,A,,,15700,1650,481
1,zero,,A,,,3,1,0
1,beside each other,,A,,,15969,1678,479
1,beside each other,,B,,,14300,1500,430
"""
RECORD = """title = "Counts before and behind"
date = 2026-08-21

[particles]
counts = "counts.csv"
tube_length = "2 m"
tube_diameter = "6 mm"
waiting_time = "30 s"

[counters.A]
serial = "PC-7"
sample_flow = "2.83 L/min"
sample_time = "60 s"
counts = "cumulative"
per = "sample"
max_concentration = "70 1/cm3"

[counters.B]
serial = "PC-8"
sample_flow = "2.83 L/min"
sample_time = "60 s"
counts = "cumulative"
per = "sample"
"""


@pytest.fixture
def rig(tmp_path: Path) -> Rig:
    return Rig(tmp_path)


def at(header: str) -> str:
    return f"counts.csv, header '{header}'"


def of(path: str, line: int) -> str:
    return f"record.toml, line {line}, {path}"


def laid_out(rig: Rig, record: str = RECORD, counts: str = COUNTS) -> None:
    rig.lay_out(record_toml=record, counts_csv=counts)


def test_the_sound_counts_are_sound(rig: Rig) -> None:
    laid_out(rig)
    code, out, err = rig.run("reduce", "record.toml")
    assert (code, err) == (0, "")
    assert "Particle counts" in out


def test_a_sample_without_counts_is_one_fault(rig: Rig) -> None:
    laid_out(rig, counts=COUNTS.replace("15969,1678,479\n2", ",,\n2"))
    code, out, err = rig.run("reduce", "record.toml")
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert "counts.csv, row 2: read nothing; expected a count in each column" in err


def row(number: int, column: str) -> str:
    return f"counts.csv, row {number}, column '{column}'"


IN_TABLE = spread(
    2,
    ("a misspelt place", "2,in use,downstream", "2,in use,downstreem", (row(3, "place"), "Did you mean downstream?")),
    ("no place", "2,in use,downstream", "2,in use,", (row(3, "place"), "read nothing", "upstream or downstream")),
    ("a misspelt run", "1,zero", "1,zeroes", (row(7, "run"), "'zeroes'", "Did you mean zero?")),
    ("an unknown counter", "2,in use,downstream,A", "2,in use,downstream,C", (row(3, "counter"), "one of: A, B")),
    ("no counter", "2,in use,downstream,A", "2,in use,downstream,", (row(3, "counter"), "one of: A, B")),
    ("an empty count", "15969,1678,479\n2", "15969,,479\n2", (row(2, "0.5 um"), "a count")),
    ("a letter for a digit", "4691", "46O1", ("counts.csv, row 3, '0.3 um'", "letter O")),
    ("a count below none", "4691", "-4691", (row(3, "0.3 um"), "0 or more")),
    ("a part of a count", ",371,", ",371.5,", (row(3, "0.5 um"), "whole number", "per")),
    ("more above the next size", "4691,371,93", "4691,371,930", (row(3, "0.5 um"), "cumulative", "by channel")),
    ("a range among cumulative", "0.3 um,0.5", "0.3-0.5 um,0.5", (at("0.3-0.5 um"), "a range of sizes")),
    ("a size in no unit", "0.3 um,0.5 um", "0.3 foo,0.5 um", (at("0.3 foo"), "'0.3 um'")),
    ("a size without a unit", "0.3 um,0.5 um", "0.3,0.5 um",
     ("counts.csv, header", "the cells of a sample", "unit with each size")),
    ("sizes that fall", "0.3 um,0.5 um", "0.5-0.3 um,0.5 um", (at("0.5-0.3 um"), "not above the first")),
    ("a size of nothing", "0.3 um,0.5 um", "0 um,0.5 um", (at("0 um"), "between 1 nm and 1 mm")),
    ("a size twice", "0.5 um,1 um", "0.5 um,500 nm", (at("0.5 um"), "the size of '500 nm' too")),
    ("a column of no field", "point,", "pint,", (at("pint"), "Did you mean point?")),
    ("counts for a volume", "0.3 um,", "0.3 um [1/ft3],", (at("0.3 um [1/ft3]"), "'1/ft3'", "per = 'sample'")),
    ("no channel", "0.3 um,0.5 um,1 um", "time,note,notes", ("counts.csv, header", "columns of counts", "'0.3 um'")),
    ("a velocity in no unit", "velocity [m/s]", "velocity", ("counts.csv, column 'velocity'", "unit of velocity")),
    ("a negative velocity", ",left,2.1,", ",left,-2.1,", (row(3, "velocity [m/s]"), "velocity from 0 m/s")),
    ("a number left out", "2,in use", ",in use", (row(3, "number"), "number of the sample")),
    ("a number twice", "3,in use", "1,in use", ("counts.csv, run 'in use'", "rows 2 and 4")),
    ("nothing downstream", "downstream", "upstream", ("counts.csv, run 'in use'", "no sample downstream")),
    ("one counter beside itself", "1,beside each other,,B", "2,beside each other,,A",
     ("counts.csv, run 'beside each other'", "samples of two counters",)),
    ("not at one time", "1,beside each other,,B", "2,beside each other,,B",
     ("counts.csv, run 'beside each other'", "no two samples at one time",)),
    ("two counters in turn", "in use,downstream,A", "in use,downstream,B",
     ("counts.csv, run 'in use'", "another downstream, at other times",)),
    ("a sample without its partner", "3,in use,upstream,A", "2,in use,upstream,B",
     ("counts.csv, row 5", "without its partner")),
)  # fmt: skip
IN_RECORD = spread(
    2,
    ("no counts", 'counts = "counts.csv"\n', "", (of("particles", 4), "neither counts nor samples", "counts.csv")),
    ("a file that is not there", '"counts.csv"', '"count.csv"',
     (of("particles.counts", 5), "there is no file 'count.csv'", "Did you mean 'counts.csv'?")),
    ("counts in two ways", 'counts = "counts.csv"\n', 'counts = "counts.csv"\nsamples = "x"\n',
     (of("particles", 4), "only one of")),
    ("no table inside", 'counts = "counts.csv"\n', 'samples = """\nupstream\n"""\n',
     (of("particles.samples", 5), "header without rows")),
    ("no counter described", RECORD[RECORD.index("[counters.A]"):], "",
     (of("particles", 4), "no table [counters", "[counters.A]")),
    ("no sample flow", 'serial = "PC-7"\nsample_flow = "2.83 L/min"\n', 'serial = "PC-7"\n',
     (of("counters.A", 10), "no sample_flow")),
    ("a flow in watts", 'serial = "PC-7"\nsample_flow = "2.83 L/min"', 'serial = "PC-7"\nsample_flow = "2.83 W"',
     (of("counters.A.sample_flow", 12), "not a unit of flow")),
    ("counted neither way", 'counts = "cumulative"\nper = "sample"\nmax', 'counts = "summed"\nper = "sample"\nmax',
     (of("counters.A.counts", 14), "cumulative, by channel")),
    ("counted in two ways", 'counts = "cumulative"\nper = "sample"\nmax', 'counts = "by channel"\nper = "sample"\nmax',
     (of("particles", 4), "print alike")),
    ("for a gallon", 'per = "sample"\nmax', 'per = "gallon"\nmax',
     (of("counters.A.per", 15), "one of: sample, m3")),
    ("a loss of nothing", 'max_concentration = "70 1/cm3"', 'loss = "5 %"',
     (of("counters.A", 10), "no max_concentration")),
    ("a loss and a dead time", 'max_concentration = "70 1/cm3"',
     'max_concentration = "70 1/cm3"\nloss = "5 %"\ndead_time = "0.01 ms"',
     (of("counters.A.dead_time", 18), "either a dead time or a loss")),
    ("one counter twice", 'serial = "PC-8"', 'serial = "PC-7"',
     (of("counters.B.serial", 19), "'PC-7'", "counters.A has these")),
    ("half a tube", 'tube_diameter = "6 mm"\n', "", (of("particles", 4), "no tube_diameter", "flushed")),
    ("a hose for a tube", '"6 mm"', '"6 m"', (of("particles.tube_diameter", 7), "0.1 m")),
    ("a counter that is none", "[particles]", '[particles]\ncounter = "Z"',
     (of("particles.counter", 5), "one of: A, B")),
    ("a column not there", "[particles]", '[particles]\ncolumns = { place = "where" }',
     ("counts.csv, header", "'where'", "place")),
    ("a column of no field", "[particles]", '[particles]\ncolumns = { plaice = "place" }',
     (of("particles.columns", 5), "'plaice'", "Did you mean place?")),
    ("a misspelt table", "[particles]", "[particle]", (of("particle", 4), "Did you mean [particles]?")),
    ("a due date before", 'serial = "PC-7"', 'serial = "PC-7"\ncalibrated = 2026-02-01\ndue = 2025-02-01',
     (of("counters.A.due", 13), "after that of the calibration")),
)  # fmt: skip


@pytest.mark.parametrize(("old", "new", "says"), IN_TABLE)
def test_bad_table(rig: Rig, old: str, new: str, says: tuple[tuple[str, ...], ...]) -> None:
    laid_out(rig, counts=COUNTS.replace(old, new) if COUNTS.count(old) > 1 else edited(COUNTS, old, new))
    rig.refuses("record.toml", says=says)


@pytest.mark.parametrize(("old", "new", "says"), IN_RECORD)
def test_bad_record(rig: Rig, old: str, new: str, says: tuple[tuple[str, ...], ...]) -> None:
    laid_out(rig, edited(RECORD, old, new))
    rig.refuses("record.toml", says=says)


def test_runs_that_tell_nothing_of_a_filter(rig: Rig) -> None:
    lines = [line for line in COUNTS.splitlines() if "beside" not in line]
    laid_out(rig, counts="\n".join(lines).replace("in use", "no filter") + "\n")
    rig.refuses("record.toml", says=(("counts.csv", "no filter, zero alone", "'in use'"),))


def test_counters_without_counts(rig: Rig) -> None:
    laid_out(rig, edited(RECORD, RECORD[RECORD.index("[particles]") : RECORD.index("[counters.A]")], ""))
    rig.refuses("record.toml", says=((of("counters", 4), "[counters.…] without [particles]"),))


def test_every_fault_of_a_table_in_one_report(rig: Rig) -> None:
    counts = edited(edited(COUNTS, "4691", "46O1"), "2,in use,downstream", "2,in use,downstreem")
    laid_out(rig, counts=counts)
    code, _, err = rig.run("reduce", "record.toml")
    assert code == 2
    assert "46O1" in err
    assert "downstreem" in err
