"""A calibration as text: what is written is read back, and what was changed by hand or cut short is refused."""

from __future__ import annotations

import datetime as dt
import math
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import flowrig
from flowrig.errors import InputError
from flowrig.records.calibration import CalibrationFile, content_digest, digest_without_itself, read_calibration
from flowrig.records.calibration_text import _digits, calibration_text, read_back
from flowrig.records.formulas import BOX as A_BOX
from flowrig.records.formulas import CHAMBER, correlation_matrix, formulas_of
from flowrig.uncertainty.cause import Cause
from tests.cli.rig import Rig, edited, spread
from tests.records.calibrations import RECORD, calibration

HEADING = {
    "title": "Invented box",
    "serial": "T-9",
    "date": dt.date(2026, 5, 20),
    "due": dt.date(2027, 5, 20),
    "by": "nobody",
    "reference": "invented nozzle",
    "invented": True,
}
NUMBERS = {"drop": 62.0, "flow": 0.149193556, "exponent": 0.528748271, "density": 0.97312345, "viscosity": 18.3e-6}
FIT = Cause("fit", n=2, dof=6.0, scope="calibration", label="scatter")
METER = Cause("instrument:M1|x", shape="rectangular", scope="calibration", label="manometer")
GAS = Cause("method:air", scope="method", label="density equation")
LOADS = {
    FIT: {"flow": np.array([4.1234567e-4, 0.0]), "exponent": np.array([-1.7e-4, 5.4321e-3])},
    METER: {"flow": np.array([-9.87654e-5]), "exponent": np.array([1.407e-3])},
    GAS: {"density": np.array([1.7e-4]), "viscosity": np.array([1.8e-7])},
}
DROPS = np.array([9.77874, 61.2, 388.278])


def points(formula: Any, numbers: Mapping[str, float], at: Any = DROPS, off: float = 1e-3) -> list[Any]:
    curve = formula.curve(numbers, at)
    shown = curve * (1 + off * np.cos(np.arange(len(at)))) if formula.relative else curve + off * np.cos(at)
    return list(zip(at, shown, formula.residuals(numbers, at, shown), strict=True))


def box_text(units: Mapping[str, str] | None = None, loads: Any = LOADS, **heading: Any) -> str:
    formula = formulas_of(A_BOX)["power law"]
    of = {"calibrates": A_BOX} | HEADING | heading
    known = [cause for cause in loads if cause in (METER, GAS)]
    return calibration_text(of, formula, NUMBERS, loads, known, points(formula, NUMBERS), units or {})


def covariance(numbers: Mapping[str, Any], names: list[str]) -> Any:
    return np.array([[float(numbers[a].cov(numbers[b])) for b in names] for a in names])


def expected(names: list[str], loads: Any = LOADS) -> Any:
    moved = [np.stack([x.get(n, np.zeros(c.n)) for n in names], axis=1) for c, x in loads.items()]
    return sum(m.T @ m for m in moved)


# ---------------------------------------------------------------- what is written is read


@pytest.mark.parametrize(
    "units", [{}, {"pressure difference": "inH2O", "flow": "cfm"}, {"pressure difference": "Pa", "flow": "L/s"}]
)
def test_numbers_covariance_and_causes_come_back(units: dict[str, str]) -> None:
    text = box_text(units)
    found = read_back(text)
    numbers = found.estimates()
    for name, value in NUMBERS.items():
        assert float(numbers[name].value) == pytest.approx(value, rel=1e-7)
    names = ["flow", "exponent", "density", "viscosity"]
    scale = np.sqrt(np.outer(*[np.diag(expected(names))] * 2))
    np.testing.assert_allclose(covariance(numbers, names) / scale, expected(names) / scale, atol=1e-4)
    causes = {c.label.partition(": ")[2]: c for c in found.causes}
    assert set(causes) == {"scatter", "manometer", "density equation"}
    assert (causes["manometer"].id, causes["manometer"].shape) == (METER.id, "rectangular")
    assert (causes["density equation"].id, causes["density equation"].scope) == (GAS.id, "method")
    assert (causes["scatter"].n, causes["scatter"].dof, causes["scatter"].scope) == (2, 6.0, "calibration")
    assert causes["scatter"].id.startswith("calibration:T-9|2026-05-20|")
    for unit in units.values():
        assert f' {unit}"' in text
    assert found.inside(DROPS).all()
    assert (found.formula.name, found.heading.value("format")) == ("power law", 2)


POLYNOMIAL = {"drop": 100.0, "constant": 0.05, "linear": 0.08, "square": -0.02, "cube": 3e-3}
AIR = {"density": 1.2, "viscosity": 18.2e-6}
SHOWN = {"reading": 20.0, "constant": -0.11, "linear": 20.4, "square": 0.3, "cube": -0.02}


@pytest.mark.parametrize("name", ["line", "line through zero", "parabola", "cubic"])
def test_polynomials_of_a_box(name: str) -> None:
    formula = formulas_of(A_BOX)[name]
    numbers = {f.name: {**POLYNOMIAL, **AIR}[f.name] for f in formula.numbers}
    loads = {Cause("fit", dof=4.0): {n: np.array([1e-4 * (k + 1)]) for k, n in enumerate(formula.found)}}
    text = calibration_text({"calibrates": A_BOX} | HEADING, formula, numbers, loads, [], points(formula, numbers), {})
    found = read_back(text)
    for number, value in numbers.items():
        assert float(found.estimates()[number].value) == pytest.approx(value, rel=1e-7)
    for k, number in enumerate(formula.found):
        assert float(found.estimates()[number].u) == pytest.approx(1e-4 * (k + 1), rel=1e-4)


@pytest.mark.parametrize(("kind", "unit"), [("velocity", "m/s"), ("velocity", "fpm"), ("pressure difference", "inH2O"),
                                            ("flow", "cfm"), ("power", "W"), ("pressure", "hPa")])  # fmt: skip
@pytest.mark.parametrize("name", ["line", "cubic"])
def test_instruments_in_their_unit(kind: str, unit: str, name: str) -> None:
    formula = formulas_of(kind)[name]
    numbers = {f.name: SHOWN[f.name] for f in formula.numbers}
    loads = {Cause("fit", n=2): {"constant": np.array([0.02, 0.0]), "linear": np.array([-0.01, 0.03])}}
    at = np.array([0.3, 4.0, 11.0, 19.7])
    text = calibration_text(
        {"calibrates": kind} | HEADING, formula, numbers, loads, [], points(formula, numbers, at, 0.01), {kind: unit}
    )
    found = read_back(text)
    assert found.calibrates == kind
    assert found.range["highest"].unit == unit
    estimates = found.estimates()
    for number, value in numbers.items():
        assert float(estimates[number].value) == pytest.approx(value, rel=1e-6, abs=1e-9)
    np.testing.assert_allclose(
        covariance(estimates, ["constant", "linear"]), expected(["constant", "linear"], loads), rtol=1e-4
    )
    residuals = [point.value("residual") for point in found.points]
    np.testing.assert_allclose(residuals, 0.01 * np.cos(at), rtol=1e-3)


def test_a_chamber() -> None:
    formula = formulas_of(CHAMBER)["power law"]
    text = calibration_text(
        {"calibrates": CHAMBER} | HEADING, formula, NUMBERS, {FIT: LOADS[FIT]}, [], points(formula, NUMBERS), {}
    )
    assert read_back(text).calibrates == CHAMBER


WORDS = ['says "so"', "back\\slash", "Prüfstand № 2, 5 µm ± 1 °C", "two\nlines", "tab\there", "'''", '"""',
         "# no comment", "a\u2028b", "🌬"]  # fmt: skip


@pytest.mark.parametrize("words", WORDS)
def test_words_come_back_whole(words: str) -> None:
    found = read_back(box_text(title=words, notes=words, by=words, reference=words))
    assert {found.heading.value(name) for name in ("title", "notes", "by", "reference")} == {words}
    loads = {Cause("own", label=words): {"flow": np.array([1e-4])}}
    [cause] = read_back(box_text(loads=loads)).causes
    assert cause.label == f"calibration of T-9: {words}"


def test_causes_of_one_name_are_told_apart() -> None:
    loads = {Cause(f"own {k}", label="zero drift"): {"flow": np.array([1e-4 * (k + 1)])} for k in range(3)}
    found = read_back(box_text(loads=loads))
    assert [c.label.partition(": ")[2] for c in found.causes] == ["zero drift", "zero drift (2)", "zero drift (3)"]
    assert len({c.id for c in found.causes}) == 3


@settings(max_examples=200)
@given(x=st.floats(1e-30, 1e30), sign=st.sampled_from([-1, 1]), digits=st.integers(2, 9))
def test_digits_are_as_many_as_asked_for(x: float, sign: int, digits: int) -> None:
    text = _digits(sign * x, digits)
    assert float(text) == pytest.approx(sign * x, rel=0.51 * 10 ** (1 - digits))
    assert tomllib.loads(f"x = {text}")["x"] == float(text)


def test_what_would_not_be_read_again_is_not_written() -> None:
    with pytest.raises(InputError, match="due"):
        box_text(due=dt.date(2020, 1, 1))
    with pytest.raises(InputError, match="no by"):
        box_text(by=None)
    formula = formulas_of(A_BOX)["power law"]
    wrong = [(10.0, 9.0, 0.0), (20.0, 9.0, 0.0)]
    with pytest.raises(InputError, match="residual"):
        calibration_text({"calibrates": A_BOX} | HEADING, formula, NUMBERS, LOADS, [], wrong, {})


# ---------------------------------------------------------------- changed by hand, cut short


@pytest.fixture
def rig(tmp_path: Path) -> Rig:
    rig = Rig(tmp_path)
    rig.lay_out(record_toml=RECORD, box_toml=box_text())
    return rig


def test_the_sound_file_is_sound(rig: Rig) -> None:
    assert rig.run("reduce", "record.toml")[0] == 0


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("0.52874827", "0.52874828"),
        ('by = "nobody"', 'by = "somebody"'),
        ("due = 2027-05-20", "due = 2029-05-20"),
        ('highest = "388.278 Pa"', 'highest = "388.277 Pa"'),
        ("dof = 6", "dof = 60"),
        ("invented = true\n", ""),
        ('title = "Invented box"', 'title = "Invented box"\nnotes = "looked at again"'),
        ('flow = ["1.4844 m3/h"', 'flow = ["1.4845 m3/h"'),
    ],
)
def test_one_figure_changed_by_hand_is_noticed(rig: Rig, old: str, new: str) -> None:
    rig.write("box.toml", edited(box_text(), old, new))
    line = box_text()[: box_text().index("content =")].count("\n") + 1 + ("notes" in new) - (new == "")
    words = ("changed by hand", "a file as it was written", "calibrate anew")
    rig.refuses("record.toml", says=((f"box.toml, line {line}, content", *words),))


def test_a_remark_line_ends_and_order_of_lines_are_no_change(rig: Rig) -> None:
    text = box_text()
    for changed in (
        "# a remark\n" + text,
        text.replace("\n", "\r\n"),
        edited(edited(text, 'by = "nobody"\n', ""), "invented = true\n", 'invented = true\nby = "nobody"\n'),
    ):
        rig.write("box.toml", changed)
        assert rig.run("reduce", "record.toml")[0] == 0


def test_a_file_without_its_digest(rig: Rig) -> None:
    text = "".join(line for line in box_text().splitlines(keepends=True) if not line.startswith("content"))
    rig.write("box.toml", text)
    rig.refuses("record.toml", says=(("box.toml", "no content", "the digest of what it states", "whole file"),))


def test_cut_short_anywhere(rig: Rig) -> None:
    text = box_text()
    for length in range(20, len(text) - 8, 67):
        rig.write("box.toml", text[:length])
        code, out, err = rig.run("reduce", "record.toml")
        assert (code, out) == (2, ""), length
        assert all(line.startswith("box.toml") for line in err.splitlines()), err


# ---------------------------------------------------------------- format 1


def read(data: Mapping[str, Any]) -> CalibrationFile:
    def where(*path: str | int) -> str:
        return f"box.toml, {path}"

    return read_calibration(data, where, "box.toml", "0" * 64)


def test_format_1_is_still_read() -> None:
    """It has no digest of itself, is always of a box, and its remounting scatter is that of one mounting."""
    found = read(calibration())
    assert (found.heading.value("format"), found.calibrates) == (1, "box")
    assert found.heading.value("content") is None
    assert float(found.estimates()["flow"].value) == pytest.approx(480 / 3600)
    with_digest = calibration()
    with_digest["content"] = content_digest(with_digest)
    assert digest_without_itself(with_digest) == with_digest["content"]
    read(with_digest)
    with pytest.raises(InputError, match="changed by hand"):
        read(with_digest | {"by": "somebody"})


# ---------------------------------------------------------------- correlations


def correlated(correlation: Any, **loads: Any) -> dict[str, Any]:
    cause = {"name": "fit", "dof": 6, "flow": "1.2 m3/h", "exponent": 0.0018, "correlation": correlation}
    return calibration(cause=[{k: v for k, v in (cause | loads).items() if v is not None}], causes=1)


@pytest.mark.parametrize("correlation", [-0.93, 0.0, 0.5, 1.0, -1.0])
def test_standard_deviations_with_their_correlation(correlation: float) -> None:
    found = read(correlated(correlation)).estimates()
    flow, exponent = found["flow"], found["exponent"]
    assert flow.u * 3600 == pytest.approx(1.2)
    assert exponent.u == pytest.approx(0.0018)
    assert float(flow.cov(exponent)) * 3600 == pytest.approx(correlation * 1.2 * 0.0018, abs=1e-12)
    [cause] = flow.parts
    assert (cause.n, cause.dof) == (2, 6.0)


def test_three_numbers_have_three_correlations_row_by_row() -> None:
    found = read(correlated([-0.9, 0.2, -0.1], density="0.001 kg/m3")).estimates()
    u = {"flow": 1.2 / 3600, "exponent": 0.0018, "density": 0.001}
    for a, b, r in (("flow", "exponent", -0.9), ("flow", "density", 0.2), ("exponent", "density", -0.1)):
        assert float(found[a].cov(found[b])) == pytest.approx(r * u[a] * u[b], rel=1e-9)
    np.testing.assert_array_equal(
        correlation_matrix([1.0, 2.0, 3.0], 3), [[1.0, 1.0, 2.0], [1.0, 1.0, 3.0], [2.0, 3.0, 1.0]]
    )


BAD = [
    ([-0.9, 0.1], {}, "1 correlations between them"),
    (0.3, {"density": "0.001 kg/m3"}, "3 correlations between them"),
    (1.2, {}, "from -1 to 1"),
    (math.nan, {}, "nan"),
    ([0.9, 0.9, -0.9], {"density": "0.001 kg/m3"}, "read [0.9, 0.9, -0.9]; expected correlations that go together"),
    (0.3, {"shape": "rectangular", "dof": None}, "beside the shape normal only"),
    (0.3, {"flow": ["1.2 m3/h", "0 m3/h"], "exponent": [0.1, 0.2]}, "one standard deviation of each"),
    (0.3, {"exponent": None}, "0 correlations between them"),
    ("strong", {}, "'strong'"),
]


@pytest.mark.parametrize(("correlation", "loads", "words"), BAD)
def test_correlations_that_cannot_be(correlation: Any, loads: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError) as caught:
        read(correlated(correlation, **loads))
    [fault] = caught.value.faults
    assert "correlation" in fault.where
    assert words in str(caught.value)


# ---------------------------------------------------------------- what is refused of an instrument's file


def instrument_text(**heading: Any) -> str:
    formula = formulas_of("velocity")["line"]
    numbers = {f.name: SHOWN[f.name] for f in formula.numbers}
    at = np.array([0.3, 4.0, 11.0, 19.7])
    return calibration_text(
        {"calibrates": "velocity"} | HEADING | heading,
        formula,
        numbers,
        {Cause("fit"): {"constant": np.array([0.02])}},
        [],
        points(formula, numbers, at, 0.01),
        {},
    )


REFUSED = spread(
    2,
    ("of another kind", 'calibrates = "velocity"', 'calibrates = "temperature"',
        ("box.toml, line 3, calibrates", "'temperature'", "the calibration of: box")),
    ("of an instrument", "", "", ("box.toml, line 3, calibrates", "'velocity'", "the calibration of: box")),
    ("power law of an instrument", 'formula = "line"', 'formula = "power law"',
        ("box.toml, line 3, calibrates", "'velocity'")),
)  # fmt: skip


@pytest.mark.parametrize(("old", "new", "says"), REFUSED)
def test_an_instruments_file_where_a_boxs_belongs(rig: Rig, old: str, new: str, says: Any) -> None:
    rig.write("box.toml", edited(instrument_text(), old, new))
    rig.refuses("record.toml", says=says)


def test_a_formula_that_an_instrument_does_not_have() -> None:
    data = tomllib.loads(instrument_text()) | {"formula": "power law"}
    with pytest.raises(InputError, match="one of: line, line through zero, parabola, cubic"):
        read(data)
    assert flowrig.InputError is InputError
