"""Pages as text: what they hold, where it comes from, and that they are the same each time."""

from __future__ import annotations

import datetime as dt
import re
from html import unescape
from pathlib import Path

import pytest

import flowrig
from flowrig.report.figures.all import PICTURES
from flowrig.report.page.record_says import ASSUMED, EXPECTED, MEASURED, STATED, apart, shown
from flowrig.report.page.render import page_html
from flowrig.report.page.subjects import SUBJECTS, subject_of
from flowrig.report.text import result_blocks
from tests.studies.count_records import COUNTER, UPSTREAM, in_turn, zero
from tests.studies.count_records import record as count_record
from tests.studies.records import nozzle


def page(result) -> str:
    return page_html(result, [], list(result_blocks(result)))


def words(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


@pytest.fixture(scope="module")
def html() -> str:
    record = nozzle(drop=["250.1 Pa", "249.7 Pa"]) | {
        "by": "N. Body",
        "item": "unit 7, as found",
        "customer": "Larkspur Flats (invented)",
        "received": dt.date(2026, 7, 10),
    }
    record["instruments"]["manometer"] |= {"zero_before": "0.2 Pa", "zero_after": "0.4 Pa"}
    return page(flowrig.reduce(record))


# What a test report is to tell: ISO/IEC 17025:2017, 7.8.2 and 7.8.3, from memory.
@pytest.mark.from_memory
@pytest.mark.parametrize(
    "said",
    [
        "A nozzle", "N. Body", "unit 7, as found", "Larkspur Flats (invented)", "2026-07-10", "2026-07-14",
        "250.1 Pa, 249.7 Pa", "0.5 % of reading + 0.25 Pa", "Zero of manometer (M1): 0.2 Pa before, 0.4 Pa after",
        "by ISO 5801", "95 %", "k", "SHA-256", "Nothing is said to be invented.", "Local codes", "authorised by",
        "Uncertainty budget", "nozzle coefficient", "not told",
    ],
)  # fmt: skip
def test_a_page_tells_what_a_report_has_to(html: str, said: str) -> None:
    assert said in words(html)


def test_it_opens_with_the_number_and_its_bar(html: str) -> None:
    [answer] = re.findall(r'class="answer">(.*?)</p>', html)
    assert re.fullmatch(r"The flow is [\d.]+ m3/h \([\d.]+ to [\d.]+, 95 % interval\), .*\.", unescape(answer))


def test_it_is_the_same_each_time_and_numbered_by_what_it_is_made_of(html: str) -> None:
    again = page(flowrig.reduce(nozzle()))
    assert again == page(flowrig.reduce(nozzle()))
    numbers = [re.search(r"<dd>([0-9a-f]{10}), issued", text)[1] for text in (html, again)]
    assert numbers[0] != numbers[1]


def test_every_field_has_one_origin() -> None:
    record = flowrig.reduce(nozzle()).record
    told = {sort: apart([record], sort) for sort in (MEASURED, STATED, ASSUMED, EXPECTED)}
    assert any(line.startswith("flow[1].drop = 250 Pa") for line in told[MEASURED])
    assert any(line.startswith("nozzles.A.diameter = 150 mm ± 0.15 mm") for line in told[STATED])
    assert told[ASSUMED]
    assert told[EXPECTED] == []
    every = [line for lines in told.values() for line in lines]
    assert len(every) == len(set(every))


def test_what_is_only_planned_was_not_measured() -> None:
    planned = flowrig.plan(_to_come())
    subject = subject_of(planned)
    assert subject.ahead
    assert apart([planned.record], MEASURED, ahead=True) == []
    assert any("air.meter.temperature" in line for line in apart([planned.record], EXPECTED, ahead=True))
    assert not any("flow[1].drop" in line for line in apart([planned.record], EXPECTED, ahead=True))


def _to_come() -> dict:
    record = nozzle() | {"plan": {"flow": "300 m3/h"}}
    del record["flow"][0]["drop"]
    return record


def test_values_stand_as_they_were_written() -> None:
    record = flowrig.reduce(nozzle(drop={"values": [1.0, 1.01], "unit": "inH2O"})).record
    assert shown(record.flows[0].section["drop"]) == "1, 1.01 inH2O"


def test_every_result_that_has_a_page_has_pictures() -> None:
    assert set(SUBJECTS) == set(PICTURES)


def test_an_alarm_leads_the_answer() -> None:
    result = flowrig.reduce(nozzle(drop="0.6 Pa"))
    assert any(f.severity == "alarm" for f in result.all_findings)
    assert subject_of(result).answer.startswith("ALARM, ")
    assert "is not to be used before it is dealt with" in words(page(result))


def test_a_limit_on_one_side_is_never_told_as_a_number() -> None:
    """Nothing came through at all: the page says at least, and no more than the limit."""
    rows = in_turn(up=tuple(100 * n for n in UPSTREAM), behind=(0,) * 6) + zero(times=30)
    result = flowrig.reduce(count_record(rows, counters={"A": COUNTER | {"max_concentration": "1e6 1/cm3"}}))
    answer = subject_of(result).answer
    found = re.fullmatch(r"Efficiency, 0.3 to 0.5 um is at least ([\d.]+) % \(95 % confidence\)\.", answer)
    assert found is not None, answer
    q = result.parts["particles"].quantities["efficiency_0.3_to_0.5_um"]
    assert 99.999 < float(found[1]) <= float(q.low)


def test_what_a_record_names_is_among_its_files() -> None:
    root = Path(__file__).parents[2] / "examples" / "25-working-week"
    names = {record.name for record in subject_of(flowrig.own(root / "ten-years.toml")).records}
    assert {"ten-years.toml", "record.toml"} <= names
    predicted = flowrig.predict(root / "panels.toml")
    names = {record.name for record in subject_of(predicted).records}
    assert names == {"panels.toml", "panel.toml", "box-fan-20.toml"}
