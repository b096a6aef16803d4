"""Efficiency and clean-air rate of a label, held against what was counted: of which particles, or why not."""

from __future__ import annotations

import math
from functools import cache

import pytest

import flowrig
from flowrig.studies.claims import hold_claims
from flowrig.studies.clean_air_part import CleanAirPart
from flowrig.studies.clean_air_rate import CleanAir, clean_air_of
from tests.studies.counted_filters import CLEAN, SIX, beside, efficient, filter_by_size
from tests.studies.records import nozzle

EFFICIENCIES = [0.3, 0.5, 0.7, 0.9, 0.95, 0.97]


@cache
def usual() -> CleanAir:
    """What does not depend on the claims."""
    return clean_air_of(flowrig.reduce(nozzle(of="speed 3")), efficient(EFFICIENCIES, SIX), beside(**CLEAN))


def held(by_size=None, *, flow=True, **fields):
    """The claims of a record in which particles were counted."""
    record = nozzle(of="speed 3") | {"claims": fields}
    result = flowrig.reduce(record)
    if not flow:
        result.flows.clear()
    if by_size is None and flow:
        clean = usual()
    else:
        clean = clean_air_of(
            result, efficient([0.3, 0.7], (0.3, 1.0, 3.0)) if by_size is None else by_size, beside(**CLEAN)
        )
    result.parts["particles"] = CleanAirPart("particles", "Particles", clean_air=clean)
    return result, clean, {claim.name: claim for claim in hold_claims(result)}


def test_a_rate_is_held_against_the_one_of_its_sizes():
    result, clean, claims = held(clean_air_rate="600 m3/h ± 10 m3/h", particles="0.5 um to 3 um")
    claim = claims["clean_air_rate"]
    [ratio] = claim.ratios
    measured = clean.ranges["dust"].clean_air.quantity
    assert float(ratio.value) == pytest.approx(100 * float(measured.value) / 600, rel=1e-9)
    relative = math.hypot(float(measured.u) / float(measured.value), 10 / 600 / math.sqrt(3))
    assert float(ratio.u) / float(ratio.value) == pytest.approx(relative, rel=1e-3)
    assert claim.sentences[0].startswith("The measured clean-air rate (by counts; clean-air rate, dust range (0.5 to 3")
    assert not claim.findings
    assert result.coverage == 0.95


def test_the_name_of_a_published_range_is_sizes_too():
    _, clean, claims = held(clean_air_rate="600 m3/h", particles="Dust")
    [ratio] = claims["clean_air_rate"].ratios
    assert float(ratio.value) == pytest.approx(100 * float(clean.ranges["dust"].clean_air.quantity.value) / 600)
    _, _, claims = held(clean_air_rate="600 m3/h", particles="smoke")  # from 0.1 um: more than was measured
    assert not claims["clean_air_rate"].ratios
    assert "do not cover 0.1 to 1 um" in claims["clean_air_rate"].sentences[0]
    assert [f.code for f in claims["clean_air_rate"].findings] == ["claim not held"]


def test_an_efficiency_of_a_published_range_is_averaged_as_the_standard_has_it():
    _, clean, claims = held(efficiency="60 %", particles="1 to 3 um")
    [ratio] = claims["efficiency"].ratios
    e2 = float(clean.classes.averages["E2"].quantity.value)
    assert float(ratio.value) == pytest.approx(100 * e2 / 60, rel=1e-9)
    _, clean, claims = held(efficiency="60 %", particles="0.5 to 3 um")  # no average of the standard
    [ratio] = claims["efficiency"].ratios
    assert float(ratio.value) == pytest.approx(
        100 * float(clean.ranges["dust"].efficiency.quantity.value) / 60, rel=1e-9
    )


def test_an_epm_may_be_claimed_as_an_efficiency():
    for said, name in (("ePM1", "ePM1"), ("ISO ePM 2.5", "ePM2.5"), ("epm10 60%", "ePM10")):
        _, clean, claims = held(efficiency="60 %", particles=said)
        [ratio] = claims["efficiency"].ratios
        assert float(ratio.value) == pytest.approx(100 * float(clean.classes.averages[name].quantity.value) / 60)
    _, _, claims = held(efficient([0.5], (0.3, 0.5)), efficiency="60 %", particles="ePM1")
    assert "there is no ePM1" in claims["efficiency"].sentences[0]


def test_without_sizes_nothing_is_held():
    _, _, claims = held(efficiency="60 %", clean_air_rate="600 m3/h")
    for name in ("efficiency", "clean_air_rate"):
        assert not claims[name].ratios
        assert "cannot be held against anything: which particles it is of is not told" in claims[name].sentences[0]
        assert [f.code for f in claims[name].findings] == ["claim not held"]


def test_without_counts_it_is_not_measured():
    claims = flowrig.reduce(nozzle() | {"claims": {"efficiency": "60 %", "particles": "1 to 3 um"}}).claims
    assert claims[0].sentences == ["The stated efficiency, 60 %: not measured in this record."]
    assert not claims[0].findings


def test_without_a_flow_an_efficiency_can_be_held_and_a_rate_cannot():
    _, _, claims = held(flow=False, efficiency="60 %", clean_air_rate="600 m3/h", particles="1 to 3 um")
    assert claims["efficiency"].ratios
    assert not claims["clean_air_rate"].ratios
    assert "no flow to multiply by" in claims["clean_air_rate"].sentences[0]


def test_claims_of_another_flow_than_the_counts_were_taken_at():
    record = nozzle(of="speed 3")
    record["flow"].append(record["flow"][0] | {"of": "speed 1", "drop": "60 Pa"})
    record["claims"] = {"clean_air_rate": "600 m3/h", "particles": "1 to 3 um", "of": "speed 1"}
    result = flowrig.reduce(record)
    clean = clean_air_of(result, efficient([0.3, 0.7], (0.3, 1.0, 3.0)), beside(of="speed 3", **CLEAN))
    result.parts["particles"] = CleanAirPart("particles", "Particles", clean_air=clean)
    [claim] = hold_claims(result)
    assert not claim.ratios
    assert "counted at speed 3" in claim.sentences[0]


def test_a_bound_is_held_as_one():
    by_size = filter_by_size([[3000, 0]], (0.3, 0.5))
    _, _, claims = held(by_size, efficiency="99 %", particles="0.3 to 0.5 um")
    [ratio] = claims["efficiency"].ratios
    assert ratio.bound == "at least"
    assert float(ratio.interval.low) == pytest.approx((1 - by_size.high[0]) / 0.99, rel=1e-4)
    assert claims["efficiency"].sentences[-1] == "That is more than is stated."
    _, _, claims = held(by_size, efficiency="99.97 %", particles="0.3 to 0.5 um")
    assert claims["efficiency"].sentences[-1] == "Whether it is less than is stated cannot be told."


def test_few_counts_keep_their_lopsided_bar():
    by_size = filter_by_size([[60, 3]], (0.3, 0.5))
    _, _, claims = held(by_size, efficiency="95 %", particles="0.3 to 0.5 um")
    [ratio] = claims["efficiency"].ratios
    assert float(ratio.low) == pytest.approx(100 * (1 - by_size.high[0]) / 0.95, abs=0.3)
    assert float(ratio.high) == pytest.approx(100 * (1 - by_size.low[0]) / 0.95, abs=0.3)
    below = float(ratio.value) - float(ratio.low)
    assert below > 2 * (float(ratio.high) - float(ratio.value))
