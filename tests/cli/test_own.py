"""`flowrig own` from the command line: files all or none, exit codes, what is said where; and its blank record."""

from __future__ import annotations

import csv
import io
import json
import tomllib
from pathlib import Path

import pytest

from flowrig.cli import main
from flowrig.report.explain import explain
from flowrig.report.own_tables import own_csv
from flowrig.studies import left_out, option_flags, own_flags, rates
from flowrig.studies.own import own
from tests.studies.test_bad_own import RECORD

FLAGS = [*rates.FLAGS, *option_flags.FLAGS, *own_flags.FLAGS, *left_out.FLAGS]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "record.toml").write_text(RECORD, encoding="utf-8")
    return tmp_path


def run(*arguments: object) -> int:
    with pytest.raises(SystemExit) as stop:
        main([*map(str, arguments)])
    return int(stop.value.code or 0)


def test_the_whole_comparison_as_json(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = folder / "a.json"
    code = run("own", folder / "record.toml", "--json", out, "--quiet", "--unit", "cfm", "--samples", 1000, "--seed", 3)
    assert (code, capsys.readouterr().out) == (0, "")
    body = json.loads(out.read_text(encoding="utf-8"))
    assert (body["contract"], body["seed"], body["samples"]) == (2, 3, 1000)
    assert body["terms"] == {"years": 10, "currency": "USD", "money": "real", "payments": "end of year",
                             "last_change": "not made", "meets": "mean"}  # fmt: skip
    assert body["costs_nothing"] == ["as it is"]
    assert sorted(body["order"]) == ["filter in the ducts", "four-filter box"]
    box, duct = body["options"]
    told = {e["key"]: e for e in box["estimates"]}
    assert told["delivered"]["unit"] == "cfm"
    assert told["present_value"]["unit"] == "USD"
    assert (box["units"], box["sets_after_first"], box["clean_air_from"]) == (1, 39, "stated")
    assert duct["clean_air_from"] == "in a duct"
    assert sum(e["value"] for e in box["items"]) == pytest.approx(told["present_value"]["value"], rel=1e-12)
    course = box["cost_over_time"]
    assert len(course["years"]) == len(course["value"]) == len(course["low"]) == len(course["high"]) == 22
    assert course["value"][0] == 70.0
    assert course["value"][-1] == pytest.approx(told["present_value"]["value"], rel=1e-12)
    [pair] = body["pairs"]
    assert (pair["first"], pair["second"]) == ("four-filter box", "filter in the ducts")
    gap = pair["present_value"]
    values = {o["name"]: {e["key"]: e["value"] for e in o["estimates"]} for o in body["options"]}
    less = values["four-filter box"]["present_value"] - values["filter in the ducts"]["present_value"]
    assert gap["difference"]["value"] == pytest.approx(less)
    assert gap["draws"] == 1000
    bars = gap["bars"]
    assert bars[0]["input"] == "filter price"
    assert (bars[0]["low"], bars[0]["high"], bars[0]["unit"]) == (pytest.approx(18.0), pytest.approx(26.0), "USD")
    swings = [abs(b["difference_at_high"] - b["difference_at_low"]) for b in bars]
    assert swings == sorted(swings, reverse=True)
    assert {f["code"] for f in box["flags"]} >= {"clean air of new filters taken", "life of a unit not told"}


def test_a_line_a_quantity_a_difference_and_a_time(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code = run("own", folder / "record.toml", "--csv", folder / "a.csv", "--samples", 1000)
    assert code == 0
    assert "Held against each other" in capsys.readouterr().out
    lines = list(csv.DictReader(io.StringIO((folder / "a.csv").read_text(encoding="utf-8"))))
    first = lines[0]
    assert (first["of"], first["quantity"], first["unit"]) == ("four-filter box", "present value", "USD")
    assert float(first["low"]) < float(first["value"]) < float(first["high"])
    assert "clean air of new filters taken" in first["flags"]
    assert "options deliver unequal clean air" in first["flags"]
    of = "four-filter box less filter in the ducts"
    [gap] = [x for x in lines if (x["of"], x["quantity"]) == (of, "cost of clean air")]
    assert 0.0 <= float(gap["probability_first_cheaper"]) <= 1.0
    over = [x for x in lines if x["quantity"] == "paid so far" and x["of"] == "four-filter box"]
    assert [float(x["years"]) for x in over[:3]] == [0.0, 1.0, 1.0]
    assert float(over[-1]["value"]) == pytest.approx(float(first["value"]))
    found = own(folder / "record.toml", samples=1000)
    assert own_csv(found) == (folder / "a.csv").read_text(encoding="utf-8")


def test_nothing_is_written_where_something_is_wrong(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record = folder / "record.toml"
    before = sorted(p.name for p in folder.iterdir())
    assert (
        run("own", record, "--json", folder / "a.json", "--csv", folder / "missing" / "a.csv", "--samples", 1000) == 2
    )
    assert run("own", record, "--json", record, "--samples", 1000) == 2
    assert run("own", record, "--samples", 10, "--json", folder / "a.json") == 2
    assert run("own", record, "--unit", "kg", "--json", folder / "a.json") == 2
    assert run("own", record, "--coverage", "20 %", "--json", folder / "a.json") == 2
    record.write_text(RECORD.replace("years = 10", "years = 0"), encoding="utf-8")
    assert run("own", record, "--json", folder / "a.json") == 2
    assert sorted(p.name for p in folder.iterdir()) == before
    said = capsys.readouterr()
    assert said.out == ""
    assert "a whole number from 1 to 60" in said.err
    assert "Traceback" not in said.err


def test_alarms_are_not_silenced(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    short = RECORD.replace("hours =", 'clean_air = "1500 m3/h"\nhours =').replace(
        "filters = 4", "filters = 4\ncount = 1"
    )
    (folder / "record.toml").write_text(short, encoding="utf-8")
    assert run("own", folder / "record.toml", "--quiet", "--samples", 1000) == 0
    said = capsys.readouterr()
    assert said.out == ""
    assert len(said.err.splitlines()) == 2
    assert "ALARM, clean air that is needed not met: four-filter box: 480 m3/h where 1500 m3/h are needed" in said.err


def test_a_blank_record_that_is_filled_in(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("sheet", "own", "--into", tmp_path) == 0
    assert "flowrig own" in capsys.readouterr().out
    path = tmp_path / "record.toml"
    text = path.read_text(encoding="utf-8")
    assert "licensed practice" in text
    assert max(map(len, text.splitlines())) <= 80
    words = " ".join(text.replace("# ", "").split())
    assert "Price of one unit. In USD; EUR, GBP alike." in words  # the sheet leaves the currency to the person
    assert 'One of: USD, EUR, GBP. Example: "USD"' in words
    held = tomllib.loads(text)
    assert held["own"]["currency"] == ""
    filled = {
        "title": '"Two ways"', "date": "2026-08-20", "years": "10", "currency": '"GBP"', "money": '"real"',
        "real_discount": '"3 %"', "hours": '"1500 h"', "energy_price": '"0.2 GBP/kWh"', "name": '"box"',
        "clean_air_rate": '"400 m3/h ± 40 m3/h"', "particles": '"0.3 to 1 um"', "power": '"90 W"', "price": '"80 GBP"',
        "filters": "4", "filter_price": '"20 GBP"', "change_every": '"6 months"', "mean_over_life": '"80 %"',
    }  # fmt: skip
    lines = []
    for line in text.splitlines():
        name, _, rest = line.partition(" = ")
        lines.append(f"{name} = {filled.pop(name)}" if rest == '""' and name in filled else line)
    assert not filled
    path.write_text("\n".join(lines), encoding="utf-8")
    assert run("own", path, "--samples", 1000) == 0
    shown = capsys.readouterr().out
    assert "present value" in shown
    assert "GBP/1000 m3" in shown
    assert run("sheet", "own", "years=10", "--into", tmp_path, "--force") == 2


@pytest.mark.parametrize("flag", FLAGS, ids=lambda flag: flag.code)
def test_every_flag_is_explained(flag) -> None:
    assert "".join(explain(flag.code).split()).count("".join(flag.meaning.split())) == 1


@pytest.mark.parametrize(
    "name",
    ["own.real_discount", "options.change_after", "present value",
     "present value, annualised", "present value, in part units", "left out",
     "clean air of new filters", "costs meet after", "price of power USD",
     "unit life of four-filter box", "course of the clean air of four-filter box", "cheaper at first"],
)  # fmt: skip
def test_names_that_a_report_shows_are_explained(name: str) -> None:
    assert len(explain(name).splitlines()) > 2
