"""Everything declared can be asked for, by every name it is met under, and comes in the declaration's own words."""

from __future__ import annotations

import importlib
import itertools
import pkgutil
import re
from pathlib import Path

import pytest

import flowrig
from flowrig.errors import InputError
from flowrig.methods import NAMES, find_method
from flowrig.methods.method import Effect
from flowrig.records import schema
from flowrig.records.causes import CAUSES
from flowrig.records.declare import Field, FlagMeaning, Given
from flowrig.report import markdown
from flowrig.report.explain import explain, explain_all
from flowrig.report.topics import SORTS, find, topics
from flowrig.studies import equal_noise, operating_point
from flowrig.studies.sheet import sheet
from tests.studies.fill_sheet import fill


def joined(text: str) -> str:
    return " ".join(text.split())


def heads(text: str) -> list[str]:
    lines = text.splitlines()
    return [a for a, b in itertools.pairwise(lines) if b and set(b) == {"-"}]


@pytest.mark.parametrize("sort", SORTS)
def test_every_topic_is_found_and_fits_80_columns(sort):
    own = [topic for topic in topics() if topic.sort == sort]
    assert own
    for topic in own:
        text = explain(topic.name)
        assert max(map(len, text.splitlines())) <= 80, topic.name
        declared = topic.declared
        words = {
            FlagMeaning: lambda declared: (declared.meaning, declared.severity, declared.source),
            Effect: lambda declared: (declared.help, declared.id, declared.source),
        }.get(type(declared), lambda declared: (declared.help,) if isinstance(declared, Field) else ())(declared)
        for expected in words:
            assert joined(expected) in joined(text), topic.name


def test_every_sort_of_topic_is_known():
    assert {topic.sort for topic in topics()} == set(SORTS)


@pytest.mark.parametrize("name", NAMES)
def test_a_method_says_all_it_declares(name):
    method, text = find_method(name), joined(explain(name.upper()))
    said = [method.title, method.help, method.source]
    said += [f.help for f in method.fields] + [f.help for t in method.hardware for f in t.fields]
    said += [e.help for e in method.effects] + [f.meaning for f in method.flags] + [c.text for c in method.cautions]
    said += [effect.source for effect in method.effects] + [flag.source for flag in method.flags]
    for words in said:
        assert joined(words) in text
    required = [f"{f.name} (required" for f in method.fields if f.required]
    optional = [f"{f.name} (" for f in method.fields if not f.required]
    order = [text.index(words) for words in required]
    assert order == sorted(order)
    assert all(text.index(words) > order[-1] for words in optional)


def test_a_field_says_what_may_be_written():
    text = explain("nozzle.drop")
    assert heads(text) == ["drop: field of nozzle"]
    for words in ("pressure difference", "inH2O", "at least -50000 Pa", "Required    yes", 'drop = "250.3 Pa"'):
        assert words in text


def test_one_name_with_several_meanings_gives_them_all():
    assert heads(explain("temperature")) == ["temperature: field of air", "temperature: unit kind"]
    assert heads(explain("accuracy")) == ["accuracy: field of instruments", "accuracy: cause"]
    assert set(heads(explain("drop"))) >= {"drop: field of nozzle", "drop: field of pitot-traverse"}


@pytest.mark.parametrize(
    ("name", "head"),
    [
        ("air.relative_humidity", "relative_humidity: field of air"),
        ("air.meter.relative-humidity", "relative_humidity: field of air"),
        ("nozzles.A.diameter", "diameter: field of nozzles"),
        ("flow[1].drop", "drop: field of nozzle"),
        ("instruments", "instruments: table"),
        ("LOW-reynolds_number", "low Reynolds number: flag of nozzle"),
        ("method:nozzle:coefficient", "nozzle coefficient (standard's equation): cause of nozzle"),
        ("nozzle coefficient (standard's equation)", "nozzle coefficient (standard's equation): cause of nozzle"),
        ("manometer (DM-0417) zero drift", "zero drift: cause"),
        ("scatter of the readings", "scatter: cause"),
        ("cfm", "flow: unit kind"),
    ],
)
def test_names_as_they_are_met_in_records_and_reports(name, head):
    assert head in heads(explain(name))


def test_a_kind_of_unit_lists_what_is_accepted():
    text = joined(explain("flow"))
    # 1 cfm = 0.3048^3/60 m3/s exactly, from the foot of 0.3048 m
    assert "1 cfm = 0.0004719474432 m3/s" in text
    assert "m³/h" in text


def test_no_name_lists_all_but_the_fields():
    text = explain()
    assert max(map(len, text.splitlines())) <= 80
    for topic in topics():
        if topic.sort != "field":
            assert re.search(rf"^  {re.escape(topic.name)}\s", text, re.MULTILINE), topic.name


def test_an_unknown_name_gives_the_nearest():
    with pytest.raises(InputError) as caught:
        explain_all(["nozle", "low reynold", "drop", "qqqq"])
    nozzle, reynolds, nothing = caught.value.faults
    assert "nozzle" in nozzle.remedy
    assert "low Reynolds number" in reynolds.remedy
    assert "lists everything" in nothing.remedy


def test_every_flag_declared_anywhere_is_a_topic():
    known = {topic.declared for topic in topics() if topic.sort == "flag"}
    found = set()
    for module in pkgutil.walk_packages(flowrig.__path__, "flowrig."):
        if module.name.split(".")[1] in ("records", "methods", "studies"):
            loaded = importlib.import_module(module.name)
            found |= {v for v in vars(loaded).values() if isinstance(v, FlagMeaning)}
    assert len(found) > 30
    assert found <= known


@pytest.mark.parametrize("method", NAMES)
def test_every_line_of_a_budget_and_every_flag_of_a_result_can_be_asked_for(method, tmp_path):
    declared = find_method(method)
    arguments = ["width=600 mm", "height=400 mm ± 2 mm"] if declared.layout else []
    hardware = {table.name for table in declared.hardware}
    if "faces" in hardware:
        arguments += ["kind=grille", "free_area=0.8 ± 0.04", "edge_strip=20 mm ± 2 mm"]
    elif not declared.layout and any(f.required for t in declared.hardware for f in t.fields if isinstance(f, Given)):
        arguments = ["A=150 mm ± 1 mm"]
    for name, text in sheet(method, [*arguments, "passes=2"]).files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    path = fill(tmp_path, {"velocity": 5.0, "drop": 60.0}, drop='"250.0 Pa ± 1 Pa"')
    result = flowrig.reduce(path)
    lines = [line.cause.label or line.cause.id for line in result.flow.estimate.budget()]
    codes = [finding.code for finding in (*result.findings, *result.flows[0].findings)]
    assert len(lines) > 4
    assert codes
    for name in (*lines, *codes):
        assert explain(name)


def test_generic_causes_name_themselves_as_budgets_do():
    names = [cause.name for cause in CAUSES]
    assert {"accuracy", "resolution", "zero drift", "drift", "scatter", "unsteadiness"} <= set(names)
    assert len(set(names)) == len(names)


# ---- tables for the documentation


def cells(table: str) -> list[list[str]]:
    return [re.split(r"(?<!\\)\|", line)[1:-1] for line in table.splitlines() if line.startswith("|")]


@pytest.mark.parametrize("table", [markdown.method_table(), markdown.flag_table()])
def test_markdown_rows_have_the_columns_of_their_head(table):
    rows = cells(table)
    assert len({len(row) for row in rows}) == 1


def test_markdown_holds_every_method_field_and_flag():
    methods, fields, flags = markdown.method_table(), markdown.field_tables(), markdown.flag_table()
    for name in NAMES:
        assert f"| `{name}` |" in methods
        assert f"### `[[flow]]` of `{name}`" in fields
        for declared in find_method(name).fields:
            assert f"| `{declared.name}` | {joined(declared.help)} |" in fields
    for table in (schema.HEADING, schema.AIR, schema.INSTRUMENT, schema.FLOW):
        for declared in table.fields:
            assert f"| `{declared.name}` |" in fields
    for topic in topics():
        if topic.sort == "flag":
            assert f"| {topic.name} |" in flags


EXPECTED = sorted((Path(__file__).parents[2] / "examples").glob("*/expected*.txt"))
FLAG = re.compile(r"\s*(?:Note|Warning|ALARM), ([^:]+):")
CAUSE = re.compile(r"\s+[\d.]+ %  (.+?)\s+u [\d.e-]+")
NUMBER = re.compile(r"  ([^\W\d].*?)(?:  +|  +at (?:most|least) )[-+\d.]+ \S*(?:  +)?\[.*")
TABLE = re.compile(r"\S  +\d")  # a line of a table of several numbers, the first of which is a size
HEADINGS = (
    "Particle counts",
    "Averages over published ranges of size, 95 % intervals in brackets",
    "Clean-air rate: flow times efficiency, 95 % intervals in brackets",
    "Clean air by decay in a room",
    "Electrical power",
    "Sound, A-weighted",
    "Heat of the motor",
    "More and slower cleaners",
    "Held against each other",
    "Combined flow",
    "Claims",
    "About the record",
)


def test_every_flag_cause_and_number_that_the_worked_examples_print_can_be_asked_for():
    met: dict[str, set[str]] = {"flag": set(), "cause": set(), "number": set()}
    lines = [line for path in EXPECTED for line in path.read_text(encoding="utf-8").splitlines()]
    for line in lines:
        for sort, form in (("flag", FLAG), ("cause", CAUSE), ("number", NUMBER)):
            found = form.match(line)
            if found and not (sort == "number" and TABLE.search(found[1])):
                met[sort].add(found[1].rstrip("."))
                break
    assert all(len(words) > 15 for words in met.values()), met
    own = ("Counter PC-2 over PC-1", "from 10 um")  # by the names of a person's own counters, and a size
    unknown = {w for words in met.values() for w in words if not find(w) and not w.startswith(own)}
    assert unknown == set()
    for heading in HEADINGS:
        assert heading in lines
        assert find(heading), heading


@pytest.mark.parametrize(
    "name",
    ["bypass", "E1", "ePM2.5", "over-dispersion", "coincidence", "room effectiveness", "levelised cost", "dust",
     "flow for each watt, air at the room", "actual flow through the unit, air at the metering plane",
     "level_at_1", "standard_flow", "clean_air_per_watt_smoke", "bypass, 0.3 to 0.5 um",
     "outdoor air: Pitot-static traverse of a duct", "where in a channel its particles were"],
)  # fmt: skip
def test_words_of_the_reports(name):
    assert find(name)


def test_every_number_of_a_part_by_the_name_it_is_stored_under():
    example = EXPECTED[0].parents[1] / "14-two-methods" / "record.toml"
    result = flowrig.reduce(example)
    held = [q for flow in result for q in flow.quantities.values()]
    held += [q for part in result.parts.values() for q in part.quantities.values()]
    assert len(held) > 15
    for q in held:
        assert find(q.name), q.name
        assert find(q.label), q.label
    for name, (label, *_) in (*equal_noise.LABELS.items(), *operating_point.LABELS.items()):
        assert find(name), name
        assert find(label), label


def test_what_no_report_says_is_not_guessed_at():
    for name in ("bypassed", "levels of management", "xyzzy, 0.3 um"):
        with pytest.raises(InputError):
            explain(name)
