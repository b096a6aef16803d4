"""Coefficients along their Reynolds number: against the equations, and against what the budget says of them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from flowrig.methods import NAMES, find_method
from flowrig.studies.behind import Behind, behind
from flowrig.studies.largest import largest
from flowrig.studies.reduce import reduce
from flowrig.studies.result import Result
from tests.report.flow_records import HEAD, written

EXAMPLES = Path(__file__).parents[2] / "examples"
HOLES = """
[holes.own]
diameter = "100 mm ± 0.5 mm"
coefficient = "0.61 ± 0.02 (k=2)"
[holes.other]
diameter = "80 mm ± 0.5 mm"
thickness = "1 mm"
edge = "sharp"
cut = "with care"
[[flow]]
name = "two holes"
method = "box-orifice"
open = {open}
drop = "60 Pa ± 0.5 Pa"
upstream = "room"
"""


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Result]:
    folder = written(tmp_path_factory.mktemp("flows"))
    found = {name: reduce(folder / f"{name}.toml") for name in ("hundred", "long", "round")}
    for number in ("01", "09", "10", "13", "16"):
        [path] = EXAMPLES.glob(f"{number}-*/record.toml")
        found[number] = reduce(path)
    for name, holes in (("mixed", '["own", "other"]'), ("calibrated", '["own"]')):
        (folder / f"{name}.toml").write_text(HEAD.format(title=name) + HOLES.format(open=holes), "utf-8")
        found[name] = reduce(folder / f"{name}.toml")
    return found


@pytest.fixture(scope="module")
def found(results: dict[str, Result]) -> dict[str, Behind]:
    return {name: behind(result, 0) for name, result in results.items()}


def test_errors_of_a_coefficient_are_effects_that_the_method_has() -> None:
    declared = [method for method in map(find_method, NAMES) if method is not None and method.coefficient is not None]
    assert len(declared) >= 5
    for method in declared:
        assert method.coefficient is not None
        assert set(method.coefficient.effects) <= {effect.id for effect in method.effects}, method.name
        assert not method.coefficient.factor or method.coefficient.factor in method.kernel.__annotations__, method.name


@pytest.mark.from_memory
def test_nozzles_alike_share_a_curve(found: dict[str, Behind]) -> None:
    """C = 0.9986 - 7.006/sqrt(Re) + 134.6/Re, 1.2 % at 95 % above 12 000 (AMCA 210, from memory)."""
    [curve] = found["01"].coefficient
    assert curve.names == ("A", "B")
    assert curve.limits == (12000.0,)
    re = curve.reynolds
    assert curve.value == pytest.approx(0.9986 - 7.006 / np.sqrt(re) + 134.6 / re, rel=1e-9)
    above = re > 12000.0
    assert (curve.high / curve.value - 1.0)[above] == pytest.approx(0.012, rel=1e-3)
    below = (curve.high / curve.value - 1.0)[~above]
    assert np.all(below > 0.012)
    assert np.all(np.diff(below) < 0.0)
    assert curve.at_reynolds == pytest.approx(np.ravel(found["01"].ranges[0].quantity.value))


@pytest.mark.recomputed
def test_a_home_made_nozzle_adds_its_own_limit_in_squares(found: dict[str, Behind]) -> None:
    [curve] = found["hundred"].coefficient
    last = len(curve.reynolds) - 1
    u = np.hypot(0.012 / 1.96, 0.04 / 3**0.5)
    assert curve.reynolds[last] > 12000.0
    assert float(curve.high[last] / curve.value[last] - 1.0) == pytest.approx(1.959964 * u, rel=1e-6)
    at = float(np.interp(np.log(curve.at_reynolds[0]), np.log(curve.reynolds), curve.high / curve.value - 1.0))
    below = 0.02 * (12000.0 / float(curve.at_reynolds[0]) - 1.0) / 3**0.5
    assert at == pytest.approx(1.959964 * np.hypot(u, below), rel=2e-3)


def test_the_band_where_it_was_measured_is_what_the_budget_says(
    results: dict[str, Result], found: dict[str, Behind]
) -> None:
    for name, words in (("01", "nozzle coefficient"), ("09", "orifice plate coefficient")):
        flow = results[name].flows[0].main
        [line] = [x for x in largest(flow) if x.words.startswith(words)]
        [curve] = found[name].coefficient
        share = np.interp(np.log(curve.at_reynolds), np.log(curve.reynolds), curve.high / curve.value - 1.0)
        assert float(share[0]) / 1.959964 == pytest.approx(line.u / float(flow.value), rel=1e-3), name


def test_a_calibrated_hole_has_the_coefficient_of_its_calibration(found: dict[str, Behind]) -> None:
    own = found["calibrated"]
    assert [p.quantity.name for p in own.ranges] == ["pressure_ratio"]  # its calibration, not the equation, holds
    assert own.coefficient == ()
    assert found["mixed"].coefficient == ()
    [curve] = found["10"].coefficient
    assert curve.limits == (5000.0, 50000.0)


def test_methods_without_a_coefficient_have_no_curve(found: dict[str, Behind]) -> None:
    assert found["13"].coefficient == ()
    assert found["round"].coefficient == ()
