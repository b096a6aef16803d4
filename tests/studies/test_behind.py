"""Readings, plane and ranges behind a flow: against the readings themselves, and against the flags that were raised."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from flowrig.studies.behind import Behind, behind, rows_raised
from flowrig.studies.result import Result
from flowrig.studies.rows import reduce_rows
from tests.report.flow_records import all_reduced, written

EXAMPLES = Path(__file__).parents[2] / "examples"
RECORDS = ("long", "hundred", "faint", "round", "backwards", "log")
NUMBERS = ("01", "03", "07", "08", "09", "10", "11", "12", "13", "15", "16")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return written(tmp_path_factory.mktemp("flows"))


@pytest.fixture(scope="module")
def results(folder: Path) -> dict[str, Result]:
    return all_reduced(folder, RECORDS, NUMBERS)


@pytest.fixture(scope="module")
def found(results: dict[str, Result]) -> dict[str, Behind]:
    return {name: behind(result, 0) for name, result in results.items()}


def test_a_range_is_left_exactly_where_its_flag_is_raised(results: dict[str, Result], found: dict[str, Behind]) -> None:
    left = 0
    for name, own in found.items():
        flags = {f.code for f in results[name].flows[0].findings}
        for placed in own.ranges:
            value = np.atleast_1d(placed.quantity.value)
            outside = (value < placed.low) | (value > placed.high)
            assert outside.tolist() == placed.beyond.tolist(), f"{name}: {placed.flag}"
            left += int(np.any(outside))
            if np.any(outside):
                assert placed.flag in flags, name
            else:
                others = [p for p in own.ranges if p.flag == placed.flag and p is not placed]
                assert placed.flag not in flags or others, f"{name}: {placed.flag}"
    assert left >= 4
    assert sum(len(own.ranges) for own in found.values()) > 30


def test_every_measurement_has_a_range_of_its_method(found: dict[str, Behind]) -> None:
    assert {name for name, own in found.items() if not own.ranges} == set()
    [alike] = found["13"].ranges
    assert (float(alike.low[0]), float(alike.high[0])) == pytest.approx((9.7, 387.4))  # as its calibration says
    assert alike.quantity.unit == "Pa"


def test_nozzles_are_named(found: dict[str, Behind]) -> None:
    reynolds, velocity, ratio = found["01"].ranges
    assert reynolds.names == velocity.names == ("A", "B")
    assert ratio.names == ()
    assert found["07"].ranges[0].names == ()


@pytest.mark.recomputed
def test_throat_velocity_with_its_bar_by_hand(found: dict[str, Behind]) -> None:
    """Bernoulli with the coefficient: C sqrt(2 dp / rho), the bar by half of that of the drop and of the density."""
    [velocity] = [p for p in found["16"].ranges if p.quantity.name == "reynolds"]
    assert velocity.quantity.high > velocity.quantity.value > velocity.quantity.low
    q = found["hundred"].ranges[1].quantity
    drop = 5.0
    assert float(q.value) == pytest.approx(0.89 * (2 * drop / 0.98) ** 0.5, rel=0.06)
    accuracy = (0.25 + 0.005 * drop) / 3**0.5 / drop / 2  # of the manometer, on the root
    assert float(q.u / q.value) == pytest.approx((accuracy**2 + (0.04 / 3**0.5) ** 2) ** 0.5, rel=0.25)


def test_readings_lie_about_the_flow_told(found: dict[str, Behind]) -> None:
    for name, own in found.items():
        if own.run is None:
            continue
        run = own.run
        assert float(np.mean(run.flows)) == pytest.approx(float(run.told.value), rel=1e-9), name
        assert run.mean_low <= float(run.told.value) <= run.mean_high
        assert len(run.flows) == run.scatter.n
        if run.told.interval.source == "linear":  # a part of the bar is no wider than the bar
            assert run.mean_high - run.mean_low <= float(run.told.high - run.told.low) * (1 + 1e-9)


@pytest.mark.recomputed
def test_flows_of_single_readings_go_as_the_root_of_their_drops(found: dict[str, Behind], folder: Path) -> None:
    run = found["log"].run
    assert run is not None
    assert run.what == "rows of the log"
    assert run.times is not None
    assert run.times[:3].tolist() == [0.0, 0.5, 1.0]
    [drop] = run.read
    lines = (folder / "log.csv").read_text(encoding="utf-8").splitlines()[1:]
    assert drop.values.tolist() == pytest.approx([float(line.split(",")[1]) for line in lines])
    roots = np.sqrt(drop.values - 0.1)  # its zero is 0.1 Pa
    assert run.flows / run.flows.mean() == pytest.approx(roots / roots.mean(), rel=1e-4)


@pytest.mark.from_memory
def test_distances_between_readings_are_of_the_flow_metered_not_of_what_leaked(
    results: dict[str, Result], found: dict[str, Behind]
) -> None:
    """Of example 15, which has 4 % of what its nozzles pass from a leak.

    Distances go as the roots of the drops times the flow metered, and a little more: the coefficient rises with the
    Reynolds number, C = 0.9986 - 7.006/sqrt(Re) + 134.6/Re (AMCA 210 / ISO 5801, from memory).
    """
    run = found["15"].run
    assert run is not None
    [leaked] = results["15"].flows[0].corrections.values()
    assert float(leaked) < -0.04
    [drop] = run.read
    roots = np.sqrt(drop.values)
    reynolds = results["15"].flows[0].diagnostics["reynolds"]
    c = 0.9986 - 7.006 / np.sqrt(reynolds) + 134.6 / reynolds
    shares = reynolds**2 / np.sum(reynolds**2)  # of the flow: it goes as the square of a diameter
    rise = float(np.sum(shares * (3.503 / np.sqrt(reynolds) - 134.6 / reynolds) / c))
    metered = (run.flows[0] - float(run.told.value)) / (roots[0] / roots.mean() - 1.0)
    assert metered * (1.0 - rise) == pytest.approx(float(run.told.value) / (1.0 + float(leaked)), rel=2e-3)


def test_readings_without_a_run_have_none(found: dict[str, Behind]) -> None:
    assert found["long"].run is None
    assert found["backwards"].run is None


def test_passes_of_a_traverse(found: dict[str, Behind]) -> None:
    run, plane = found["round"].run, found["round"].plane
    assert run is not None
    assert plane is not None
    assert run.what == "passes"
    assert run.times is None
    assert plane.passes is not None
    assert plane.passes.shape == (3, 18)
    # velocities of single passes are roots, whose mean lies a little below the root of the mean
    assert np.mean(plane.passes, axis=0) == pytest.approx(plane.velocity.value, rel=1e-3)


@pytest.mark.recomputed
def test_velocities_and_their_bars_by_hand(found: dict[str, Behind], folder: Path) -> None:
    """C sqrt(2 dp / rho) at the density of the record; drop, coefficient and passes add in squares."""
    plane = found["round"].plane
    assert plane is not None
    lines = (folder / "round.csv").read_text(encoding="utf-8").splitlines()[1:]
    drops = np.array([float(line.split(",")[3]) for line in lines]).reshape(3, 18)
    density = 83200.0 / 287.05 / 294.15 * (1 - 0.378 * 0.35 * 2488.0 / 83200.0)
    mean = drops.mean(axis=0) - 0.1
    v = 0.998 * np.sqrt(2 * mean / density)
    assert plane.velocity.value == pytest.approx(v, rel=1e-3)
    each = 0.998 * np.sqrt(2 * (drops - 0.1) / density)
    scatter = np.sqrt(np.sum((each - each.mean(axis=0)) ** 2) / 36 / 3)
    own = v * np.hypot((0.005 * mean + 0.25) / 3**0.5 / mean / 2, 0.005 / 3**0.5)
    assert plane.velocity.u == pytest.approx(np.hypot(own, scatter), rel=0.03)


@pytest.mark.recomputed
def test_the_mean_of_the_plane_times_its_area_is_the_flow(results: dict[str, Result], found: dict[str, Behind]) -> None:
    for name, area in (("round", np.pi / 4 * 0.4**2), ("backwards", 0.3 * 0.45)):
        plane, flow = found[name].plane, results[name].flows[0].main
        assert plane is not None
        assert 3600 * area * float(plane.mean.value) == pytest.approx(float(flow.value), rel=1e-6)
        share = float(flow.u / flow.value) ** 2 - float(plane.mean.u / plane.mean.value) ** 2
        assert 0.0 < share < 0.1 * float(flow.u / flow.value) ** 2 + 1e-4  # what the area adds


def test_unevenness_is_that_of_the_points(found: dict[str, Behind], folder: Path) -> None:
    plane = found["backwards"].plane
    assert plane is not None
    lines = (folder / "backwards.csv").read_text(encoding="utf-8").splitlines()[1:]
    v = np.array([float(line.split(",")[3]) for line in lines])
    assert plane.unevenness == pytest.approx(float(np.std(v) / np.mean(v)))
    assert plane.passes is None


def test_a_table_of_tests_has_nothing_behind_a_row(folder: Path) -> None:
    result = reduce_rows(folder / "pattern.toml", folder / "few.csv")
    with pytest.raises(ValueError, match="table of tests"):
        behind(result, 0)
    assert rows_raised(result.flows[0].findings, 3).tolist() == [False, True, False]
