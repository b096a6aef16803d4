"""Designs in one call: each the same as if it were predicted by itself, and what is told of them together."""

from __future__ import annotations

from itertools import product
from typing import Any

import numpy as np
import pytest

from flowrig.errors import InputError
from flowrig.studies.predict import predict
from flowrig.studies.reduce import load
from flowrig.studies.sweep import Swept, sweep
from flowrig.uncertainty.montecarlo import chunks
from tests.studies.cleaners import DIP_FLOWS, DIP_PRESSURES, FLOWS, PRESSURES, cleaner, codes, fan, panel, values

LIMITS = {"flow_limit": "6 %", "pressure_limit": "8 %"}
EFFICIENT = {"particles": "1 to 3 um", "efficiency": ["90 %", "80 %"], "efficiency_velocity": ["0.2 m/s", "1.4 m/s"]}


def thin() -> dict[str, Any]:
    return panel(linear="38 Pa ± 4 Pa", quadratic="14 Pa ± 3 Pa", piece_spread="4 %", **EFFICIENT)


def deep() -> dict[str, Any]:
    velocity = np.array([0.4, 0.8, 1.2])
    return panel(drop=values(20 * velocity**1.3, "Pa"), velocity=values(velocity, "m/s"), law="power",
                 final_drop="100 Pa", final_velocity="1 m/s", **EFFICIENT)  # fmt: skip


def swept(trying: dict[str, Any], made: dict[str, Any] | None = None, **more: Any) -> Swept:
    bank = {"filter": thin(), "count": 2, "gap_coefficient": "0.62 ± 0.1"} | more
    return sweep(load(cleaner(bank, fan=made or fan(**LIMITS)) | {"sweep": trying}))


COUNTS, SPEEDS, GAPS = [1, 2, 4], ["100 %", "70 %"], ["0 mm", "0.6 mm"]


def test_a_row_is_what_a_single_prediction_says() -> None:
    filters = {"thin": thin(), "deep": deep()}
    found = swept({"count": COUNTS, "filter": list(filters.values()), "speed_ratio": SPEEDS, "gap_width": GAPS})
    designs = list(product(COUNTS, filters.values(), SPEEDS, GAPS))
    assert len(found) == len(designs) == 24
    for k in (0, 3, 6, 9, 14, 17, 23):
        count, filter_, speed, gap = designs[k]
        # as told of a single cleaner: the names of what is local to the record differ, but not what they move
        one = {"filter": filter_, "count": count, "gap_width": gap, "gap_coefficient": "0.62 ± 0.1"}
        record = cleaner(one, fan=fan(**LIMITS), speed_ratio=speed)
        alone = predict(record, samples=200)
        for name in ("flow", "clean_air", "pressure", "share", "efficiency"):
            row = found.quantities[name].estimate
            assert float(row.value[k]) == pytest.approx(float(alone[name].estimate.value), rel=1e-6), (k, name)
            assert float(row.u[k]) == pytest.approx(float(alone[name].estimate.u), rel=1e-6), (k, name)


def moved_alike(row: Any, alone: Any, k: int) -> bool:
    """Whether every cause of both has one name, so that one seed draws the same for both."""
    own = {c.id for c, p in row.parts.items() if np.any(p[..., k])}
    return own == {c.id for c, p in alone.parts.items() if np.any(p)}


def test_draws_of_a_design_are_those_of_the_record_that_holds_it() -> None:
    """One design alone in a sweep shares all causes with the same record without one."""
    bank = {"filter": panel(linear="38 Pa ± 4 Pa", quadratic="14 Pa ± 3 Pa", **EFFICIENT), "count": 3}
    record = load(cleaner(bank, fan=fan(**LIMITS)) | {"sweep": {"count": [1, 3]}})
    rows, alone = sweep(record), predict(record, samples=200)
    for name in ("flow", "clean_air"):
        row = rows.quantities[name].estimate
        assert moved_alike(row, alone[name].estimate, 1)
        [ours] = next(chunks([alone[name].estimate], 200, 1))
        [draws] = next(chunks([row], 200, 1))
        assert draws[:, 1] == pytest.approx(ours, rel=1e-6)
        assert np.std(draws[:, 1]) > 0.01 * abs(float(row.value[1]))


def test_bands_of_a_row_are_those_of_a_single_prediction() -> None:
    found = swept({"count": COUNTS})
    for k, count in enumerate(COUNTS):
        alone = predict(cleaner({"filter": thin(), "count": count}, fan=fan(**LIMITS)))
        width = alone.flow.high - alone.flow.low
        # drawn ends of a row are good to 0.05 u; a row that is not drawn has the linear ones
        assert found.quantities["flow"].low[k] == pytest.approx(alone.flow.low, abs=0.06 * width)
        assert found.quantities["flow"].high[k] == pytest.approx(alone.flow.high, abs=0.06 * width)


def test_what_more_filters_gain_is_told_by_their_number_whatever_the_order() -> None:
    up, mixed = swept({"count": [1, 2, 4]}), swept({"count": [4, 1, 2]})
    assert up.gained is not None
    assert mixed.gained is not None
    clean = up.quantities["clean_air"].value
    assert np.isnan(up.gained.value[0])
    assert up.gained.value[1:] == pytest.approx(np.diff(clean))
    assert mixed.gained.value[[1, 2, 0]] == pytest.approx(up.gained.value, nan_ok=True)
    assert up.gained.value[1] > up.gained.value[2]
    # what two designs share cancels: the gain is known better than either
    assert up.gained.estimate.u[1] < 0.7 * up.quantities["clean_air"].estimate.u[1]


def test_loading_takes_flow_until_the_final_drop() -> None:
    found = swept({"loaded": ["0 %", "50 %", "100 %"]}, filter=deep())
    assert np.all(np.diff(found.quantities["flow"].value) < 0)
    full = predict(cleaner({"filter": deep(), "count": 2, "loaded": "100 %"}, fan=fan(**LIMITS)), samples=200)
    velocity, drop = (full.entries[0][name].value for name in ("velocity", "drop"))
    assert drop == pytest.approx(100 * velocity**1.3, rel=0.01)  # 100 Pa at 1 m/s, along its own law
    assert float(found.quantities["flow"].value[2]) == pytest.approx(full.flow.value, rel=1e-9)


def test_designs_without_a_crossing_have_no_value_and_are_told() -> None:
    found = swept({"count": [1, 2, 30]}, fan(FLOWS[:-1], PRESSURES[:-1], **LIMITS))
    assert np.isfinite(found.quantities["flow"].value).tolist() == [True, True, False]
    [finding] = [f for f in found.findings if f.code == "no crossing in some designs"]
    assert finding.message == "1 of 3: 30"
    assert "no crossing in some designs" not in codes(swept({"count": [1, 2]}).findings)


def test_several_crossings_in_a_design_are_told() -> None:
    made = fan(DIP_FLOWS, (72, 58, 47, 22, 46, 44, 33, 18, 0))
    narrow = panel(linear="0.001 Pa", quadratic="48 Pa")
    found = swept({"count": [1, 4]}, made, filter=narrow)
    [finding] = [f for f in found.findings if f.code == "several crossings in some designs"]
    assert finding.message == "1 of 2: 1"
    assert "several crossings in some designs" not in codes(
        swept({"count": [2, 4]}, fan(DIP_FLOWS, DIP_PRESSURES), filter=narrow).findings
    )


@pytest.mark.parametrize(
    ("trying", "said"),
    [
        ({}, "an empty [sweep]; expected one of: count, filter"),
        ({"count": list(range(1, 500)), "loaded": values(range(100), "%"), "gap_width": GAPS, "speed_ratio": SPEEDS},
         "designs; expected at most 100000"),
        ({"gap_width": GAPS}, "a filter whose width and height are told, or the area of the gap"),
        ({"loaded": ["0 %", "50 %"]}, "a load without a final drop"),
    ],
)  # fmt: skip
def test_bad_sweeps(trying: dict[str, Any], said: str) -> None:
    bare = panel(area="0.25 m2")
    del bare["filter"]["width"], bare["filter"]["height"]
    with pytest.raises(InputError) as caught:
        swept(trying, filter=bare)
    assert said in str(caught.value)


def test_a_speed_beside_a_sweep_of_speeds() -> None:
    record = cleaner({"filter": thin()}, fan=fan(**LIMITS), speed_ratio="80 %") | {"sweep": {"speed_ratio": SPEEDS}}
    with pytest.raises(InputError, match="one of the two"):
        sweep(load(record))


def test_more_designs_than_the_engine_takes_at_a_time() -> None:
    found = swept({"count": list(range(1, 11)), "gap_width": values(np.linspace(0, 1, 30), "mm")})
    assert len(found) == 300
    assert "linear bands" in codes(found.findings)
    assert found.gained is not None
    clean = found.quantities["clean_air"].value.reshape(10, 30)
    assert found.gained.value.reshape(10, 30)[1:] == pytest.approx(np.diff(clean, axis=0))
    some = swept({"count": [7, 8], "gap_width": values(np.linspace(0, 1, 30)[[4]], "mm")})
    assert float(found.gained.estimate.u.reshape(10, 30)[7, 4]) == pytest.approx(
        float(some.gained.estimate.u[1]), rel=1e-4
    )
