"""What a label states, held against what was measured; and the label's own figures against one another."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import replace

import pytest

import flowrig
from flowrig.errors import InputError
from flowrig.report.as_csv import result_csv
from flowrig.report.as_json import result_json
from flowrig.report.text import result_text
from flowrig.studies import claims
from flowrig.uncertainty.interval import coverage_factor
from tests.studies.records import nozzle
from tests.studies.test_compare import mixed, run, several, traverse

DROPS = ["250.0 Pa", "250.9 Pa", "249.4 Pa", "250.3 Pa", "249.8 Pa", "250.6 Pa"]


def claimed(**stated):
    return nozzle(drop=DROPS) | {"claims": stated}


def held(record, **options):
    return {claim.name: claim for claim in flowrig.reduce(record, **options).claims}


def said(record):
    return " ".join(result_text(flowrig.reduce(record)).split())


@pytest.mark.recomputed
def test_measured_over_stated_with_its_error_bar():
    result = flowrig.reduce(claimed(flow="2500 m3/h"))
    [claim] = result.claims
    [ratio] = claim.ratios
    assert ratio.value == pytest.approx(100 * result.flow.value / 2500, rel=1e-12)
    assert ratio.low == pytest.approx(100 * result.flow.low / 2500, rel=1e-6)
    assert ratio.high == pytest.approx(100 * result.flow.high / 2500, rel=1e-6)
    assert claim.stated == "2500 m3/h"


@pytest.mark.recomputed
def test_the_stated_error_counts_too():
    record = claimed(flow="2500 m3/h ± 100 m3/h (k=2)")
    result = flowrig.reduce(record)
    [ratio] = result.claims[0].ratios
    u = math.hypot(float(result.flow.u / result.flow.value), 50 / 2500)
    assert float(ratio.u / ratio.value) == pytest.approx(u, rel=1e-3)
    k = float(coverage_factor(0.95, ratio.estimate.dof))
    assert float(ratio.high - ratio.value) == pytest.approx(k * float(ratio.u), rel=0.02)
    assert {line.cause.name for line in ratio.estimate.budget()} >= {"stated flow"}


# common practice, no source: a household box fan through four MERV 13 filters delivers about half its free-air rating
def test_half_of_a_nameplate_is_an_ordinary_result_and_raises_nothing():
    plain, with_claim = flowrig.reduce(nozzle(drop=DROPS)), flowrig.reduce(claimed(flow="1440 cfm"))
    [claim] = with_claim.claims
    assert 50 < claim.ratios[0].value < 54
    assert [f.code for f in with_claim.all_findings] == [f.code for f in plain.all_findings]
    first, second = claim.sentences
    assert first.startswith("The measured flow (Nozzles in a chamber; actual flow, air at the metering plane) is 5")
    assert first.endswith("of the stated 1440 cfm.")
    assert "ordinary" in second
    assert "free air" in second


@pytest.mark.parametrize(
    ("stated", "words"),
    [("1280 m3/h", "within the error bar"), ("1000 m3/h", "more than is stated"), ("2000 m3/h", "free air")],
)
def test_the_sentence_goes_by_the_error_bar(stated, words):
    [claim] = flowrig.reduce(claimed(flow=stated)).claims
    assert words in claim.sentences[-1]


def test_what_was_not_measured_is_said_and_not_dropped():
    record = claimed(efficiency="85 %", clean_air_rate="900 cfm", power="90 W", sound="52 dB", notes="carton")
    found = held(record)
    assert list(found) == ["efficiency", "clean_air_rate", "power", "sound"]
    for claim in found.values():
        assert claim.ratios == []
        assert claim.sentences[0].endswith("not measured in this record.")
    shown = said(record)
    for words in ("85 %", "900 cfm", "90 W", "52 dB", "carton"):
        assert words in shown
    lines = list(csv.DictReader(io.StringIO(result_csv(flowrig.reduce(record)))))
    empty = [line for line in lines if line["measurement"].startswith("claim: ")]
    assert [line["quantity"] for line in empty] == list(found)
    assert {line["flags"] for line in empty} == {"not measured in this record"}
    body = json.loads(result_json(flowrig.reduce(record)))
    assert [(c["name"], c["measured"]) for c in body["claims"]] == [(name, False) for name in found]
    assert body["claims"][0]["stated_si"] == pytest.approx(0.85)


def test_claims_go_to_the_combined_flow_or_to_each():
    record = mixed(run("chamber"), traverse("duct", 5.95)) | {"claims": {"flow": "2500 m3/h"}}
    result = flowrig.reduce(record)
    [ratio] = result.claims[0].ratios
    assert ratio.label == "combined flow over stated flow"
    assert ratio.value == pytest.approx(100 * result.combined.main.value / 2500)
    record["flow"][1] = traverse("duct", 7.0)
    apart = flowrig.reduce(record)
    assert [q.label for q in apart.claims[0].ratios] == ["chamber over stated flow", "duct over stated flow"]
    assert len([s for s in apart.claims[0].sentences if "ordinary" in s]) == 1


def test_a_claim_may_be_of_one_flow_among_several():
    low = ["120.0 Pa", "120.6 Pa", "119.8 Pa"]
    record = several(run("first", of="speed 3"), run("again", of="speed 3"), run("slow", of="speed 1", drop=low))
    everywhere = flowrig.reduce(record | {"claims": {"flow": "2500 m3/h"}}).claims[0].ratios
    assert [q.label for q in everywhere] == ["combined flow, speed 3 over stated flow", "slow over stated flow"]
    slow = flowrig.reduce(record | {"claims": {"flow": "1500 m3/h", "of": "Speed 1"}}).claims[0].ratios
    assert [q.label for q in slow] == ["slow over stated flow"]
    with pytest.raises(InputError) as caught:
        flowrig.reduce(record | {"claims": {"flow": "1500 m3/h", "of": "sped 1"}})
    [fault] = caught.value.faults
    assert "'speed 3', 'speed 1'" in fault.expected
    assert "Did you mean 'speed 1'?" in fault.remedy


# ---- the label's own figures


@pytest.mark.recomputed
@pytest.mark.parametrize(
    ("flow", "efficiency", "clean", "fits"),
    [
        ("1000 cfm", "65 %", "650 cfm", True),
        ("1000 cfm", "65 %", "655 cfm", True),  # 995.5 x 0.645 to 1000.5 x 0.655: within the rounding of 65 %
        ("1000 cfm", "65 %", "657 cfm", False),
        ("1000 cfm", "65.0 %", "655 cfm", False),
        ("1000 cfm", 0.65, "655 cfm", True),  # TOML does not keep the last zero of a bare number
        ("1000 cfm ± 50 cfm", "65.0 %", "655 cfm", True),
        ("1000 cfm", "65 %", "500 cfm", False),
        ("1699 m3/h", "65 %", "650 cfm", True),
        ("1e3 cfm", "65.0 %", "900 cfm", True),  # one digit says anything from 500 to 1500
    ],
)
def test_a_clean_air_rate_is_the_product_of_flow_and_efficiency(flow, efficiency, clean, fits):
    record = claimed(flow=flow, efficiency=efficiency, clean_air_rate=clean)
    found = held(record)["clean_air_rate"].findings
    assert [f.code for f in found] == ([] if fits else ["claims do not multiply"])
    if not fits:
        assert f"is {'650 cfm'}, while {clean} is stated" in found[0].message
        assert "Warning, claims do not multiply" in said(record)
        codes = {line["measurement"]: line["flags"] for line in flowrig.reduce(record).lines()}
        assert codes["claim: clean_air_rate"] == "not measured in this record; claims do not multiply"
        assert "claims do not multiply" not in codes["Nozzles in a chamber"]


def test_a_claim_in_pint_quantities_is_held_too():
    unit = flowrig.reduce(nozzle()).flow.quantity("m3/h").units
    record = claimed(flow=1000 * unit, efficiency=0.65, clean_air_rate=650 * unit)
    assert held(record)["clean_air_rate"].findings == []
    assert held(record)["flow"].stated == "1000 m3/h"


# ---- what other sections of a record will measure is named beside the claim


def test_a_measured_quantity_plugs_in_beside_its_claim(monkeypatch):
    def measured(result, of):
        yield "the meter", replace(result.flow, kind="power", unit="W", label="active power")

    def level(result, of):
        yield "one metre", replace(result.flow, kind="sound level", unit="dB", label="level")

    plugged = {"power": measured, "sound": level}
    monkeypatch.setattr(claims, "CLAIMS", tuple(replace(c, measured=plugged.get(c.name)) for c in claims.CLAIMS))
    result = flowrig.reduce(claimed(power="0.5 W", sound="0.2 dB"))
    power, sound = result.claims
    value = float(result.flow.estimate.value)
    assert power.ratios[0].value == pytest.approx(100 * value / 0.5)
    # a level has a difference, not a ratio
    assert sound.ratios[0].value == pytest.approx(value - 0.2)
    assert sound.ratios[0].name == "sound_minus_claim"
    assert "0.2 dB above" in sound.sentences[0]
    assert result_text(result)
    assert json.loads(result_json(result))["claims"][1]["measured"] is True


def test_draws_and_coverage_reach_the_ratio():
    record = claimed(flow="2500 m3/h")
    [drawn] = flowrig.reduce(record, samples=20_000, coverage=0.99).claims[0].ratios
    assert drawn.interval.source == "monte carlo"
    assert drawn.interval.coverage == 0.99


def test_a_batch_says_that_claims_are_not_held(tmp_path):
    table = tmp_path / "rows.csv"
    table.write_text("drop [Pa]\n250\n300\n", encoding="utf-8")
    result = flowrig.reduce_rows(claimed(flow="2500 m3/h"), table)
    assert result.claims == []
    [note] = [f for f in result.findings if f.code == "not held against each other"]
    assert note.message == "the claims stand as they are in every row"


@pytest.mark.parametrize("empty", [{}, {"notes": "nothing stated"}, {"flow": ""}])
def test_a_section_without_claims_says_nothing(empty):
    record = nozzle(drop=DROPS) | {"claims": empty}
    assert flowrig.reduce(record).claims == []
    assert "Claims" not in said(record)


WATTS = {"measures": "power", "serial": "W1", "accuracy": "1 % of reading + 0.5 W", "resolution": "0.1 W"}
SOUND = {"measures": "sound level", "serial": "S1", "accuracy": "1.5 dB", "resolution": "0.1 dB"}


def with_meters(**tables: dict[str, object]) -> dict[str, object]:
    record = nozzle()
    record["instruments"] = record["instruments"] | {"watts": WATTS, "sound": SOUND}
    return record | tables


def test_watts_and_decibels_are_held_against_what_was_read() -> None:
    record = with_meters(
        electrical={"power": ["91.0 W", "92.0 W", "91.6 W"]},
        sound={"level": "52.3 dB"},
        claims={"power": "85 W", "sound": "48 dB"},
    )
    result = flowrig.reduce(record)
    power = result.parts["electrical"].quantities["power"]
    mean = (91.0 + 92.0 + 91.6) / 3
    assert power.value == pytest.approx(mean, rel=1e-12)
    assert float(power.u) > (0.01 * mean + 0.5) / math.sqrt(3)  # the meter's limit, and the scatter of three
    level = result.parts["sound"].quantities["level"]
    assert float(level.u) == pytest.approx(math.hypot(1.5 / math.sqrt(3), 0.1 / math.sqrt(12)), rel=1e-9)
    watts, decibels = result.claims
    assert watts.ratios[0].value == pytest.approx(100 * mean / 85, rel=1e-9)
    assert decibels.ratios[0].value == pytest.approx(52.3 - 48.0, rel=1e-9)
    assert decibels.ratios[0].low == pytest.approx(float(level.low) - 48.0, rel=1e-6)
    text = " ".join(result_text(result).split())
    assert "Electrical power Electrical power 91.5" in text
    assert "The measured electrical power (as read; electrical power) is 108 %" in text
    assert "The measured sound level (as read; level, background included) is 4.3 dB above" in text
    body = json.loads(result_json(result))
    assert body["parts"]["electrical"]["estimates"][0]["unit"] == "W"
    assert {line["measurement"] for line in result.lines()} >= {"Electrical power", "Sound, A-weighted"}


@pytest.mark.parametrize(
    ("table", "section", "said"),
    [
        ("electrical", {}, "no power"),
        ("electrical", {"power": "91"}, "unit of power"),
        ("electrical", {"power": "91 m"}, "not a unit of power"),
        ("electrical", {"power": "-5 W"}, "from 0 W"),
        ("electrical", {"watts": "91 W"}, "one of: power"),
        ("sound", {"level": "300 dB"}, "to 160 dB"),
        ("sound", {"level": "52 dB", "with": "watts"}, "one that measures sound level"),
        ("electric", {"power": "91 W"}, "[electrical]"),
    ],
)
def test_bad_readings_beside_the_flow(table: str, section: dict[str, str], said: str) -> None:
    with pytest.raises(flowrig.InputError) as caught:
        flowrig.reduce(with_meters(**{table: section}))
    assert said in str(caught.value)


def test_a_reading_beside_the_flow_needs_its_instrument() -> None:
    with pytest.raises(flowrig.InputError, match=r"\[instruments.watt_meter\]"):
        flowrig.reduce(nozzle() | {"electrical": {"power": "91 W"}})
