"""A record of a flow, of counts and of a label, from file to report; and what is refused of it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.rig import RECORD, Rig, edited, spread

COUNTS = """number,place,0.3 um,0.5 um,1 um,3 um,10 um
1,upstream,15969,1678,479,140,22
2,downstream,4691,371,93,14,0
3,upstream,15800,1690,470,142,20
4,downstream,4600,380,88,12,0
5,upstream,15700,1650,481,139,21
"""
PARTICLES = """
[particles]
counts = "counts.csv"
tube_length = "2 m"
tube_diameter = "6 mm"
waiting_time = "30 s"
filter_state = "clean"
measured_on = "system"

[counters.A]
serial = "PC-7"
sample_flow = "2.83 L/min"
sample_time = "60 s"
counts = "cumulative"
per = "sample"
max_concentration = "70 1/cm3"
"""
CLAIMS = """
[claims]
clean_air_rate = "700 m3/h"
efficiency = "80 %"
particles = "1 to 3 um"
"""
SOUND = RECORD + PARTICLES + CLAIMS
ALONE = RECORD.split("[air.meter]")[0] + PARTICLES


def where(path: str, record: str) -> str:
    """How a fault of a field, or of a whole table, begins."""
    table, _, field = path.partition(".")
    start = record.index(f"[{table}]\n")
    start = record.index(f"\n{field} = ", start) + 1 if field else start
    return f"record.toml, line {record[:start].count(chr(10)) + 1}, {path}"


@pytest.fixture
def rig(tmp_path: Path) -> Rig:
    return Rig(tmp_path)


def test_from_file_to_report(rig: Rig) -> None:
    rig.lay_out(record_toml=SOUND, counts_csv=COUNTS)
    code, out, err = rig.run("reduce", "record.toml", "--json", "out.json")
    assert (code, err) == (0, "")
    block = out[out.index("Averages over published ranges") : out.index("About the record")]
    assert max(map(len, block.splitlines())) <= 80
    text = " ".join(block.split())
    assert "performed in this test like class" in text
    assert "smoke range from 0.3 um" in text
    assert "from 10 um at least" in text
    assert "The measured clean-air rate (by counts; clean-air rate, 1 to 3 um) is" in text
    assert "The measured efficiency (by counts; E2, 1 to 3 um) is" in text
    told = json.loads((rig.folder / "out.json").read_text(encoding="utf-8"))
    by_name = {each["name"]: each for each in told["parts"]["particles"]["estimates"]}
    flow = told["measurements"][0]["estimates"][0]
    rate, held = by_name["clean_air_rate_1_to_3_um"], by_name["mean_efficiency_1_to_3_um"]
    assert rate["value"] == pytest.approx(flow["value"] * held["value"] / 100, rel=1e-9)
    assert by_name["clean_air_rate_channel_from_10_um"]["bound"] == "at least"
    assert {name for name in by_name if name.startswith("ePM")} == {"ePM1", "ePM2.5", "ePM10"}
    causes = {part["cause"]["id"] if "cause" in part else part["id"] for part in rate["parts"]}
    assert "method:particles|where in a channel" in causes
    assert any("counting" in cause for cause in causes)
    assert any("nozzle" in cause for cause in causes)


def test_a_stated_flow_stands_in(rig: Rig) -> None:
    stated = edited(ALONE, 'filter_state = "clean"', 'flow = "620 m3/h ± 30 m3/h"\nfilter_state = "used"')
    rig.lay_out(record_toml=stated, counts_csv=COUNTS)
    code, out, err = rig.run("reduce", "record.toml")
    assert (code, err) == (0, "")
    assert "stated flow through the unit" in " ".join(out.split())
    assert "flow of the clean-air rate stated" in " ".join(out.split())
    rig.lay_out(record_toml=ALONE, counts_csv=COUNTS)
    code, out, err = rig.run("reduce", "record.toml")
    assert code == 0
    assert "No clean-air rate: the record holds no flow." in out


TWO = '[[flow]]\nmethod = "nozzle"\nopen = ["A"]\nof = "speed 1"\ndrop = "60 Pa"\nstatic = "0.4 Pa"\n\n'
CASES = spread(
    2,
    (
        "a flow beside the one measured",
        'filter_state = "clean"',
        'filter_state = "clean"\nflow = "620 m3/h ± 30 m3/h"',
        ("particles.flow", "'620 m3/h ± 30 m3/h'", "not both"),
    ),
    (
        "a flow without its ±",
        'filter_state = "clean"',
        'filter_state = "clean"\nflow = "620 m3/h"',
        ("particles.flow", "'620 m3/h'", "with its ±"),
    ),
    (
        "a flow of no unit",
        'filter_state = "clean"',
        'filter_state = "clean"\nflow = 620',
        ("particles.flow", "read 620", "m3/h"),
    ),
    ("a state of the filter", '"clean"', '"new"', ("particles.filter_state", "'new'", "clean, used")),
    ("a place of the samples", '"system"', '"unit"', ("particles.measured_on", "'unit'", "system, media")),
    (
        "words of no flow",
        'filter_state = "clean"',
        'of = "speed 3"\nfilter_state = "clean"',
        ("particles.of", "'speed 3'"),
    ),
    ("several flows and no word", "[[flow]]", TWO + "[[flow]]", ("particles", "which flow", "speed 1")),
    ("a rate of an ePM", '"1 to 3 um"', '"ePM2.5"', ("claims.particles", "'ePM2.5'", "not a clean-air rate")),
)


@pytest.mark.parametrize(("old", "new", "says"), CASES)
def test_what_is_refused(rig: Rig, old: str, new: str, says: tuple[tuple[str, ...], ...]) -> None:
    record = edited(SOUND, old, new)
    rig.lay_out(record_toml=record, counts_csv=COUNTS)
    rig.refuses("record.toml", says=tuple((where(path, record), *words) for path, *words in says))
