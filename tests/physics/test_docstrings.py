"""Every kernel: units in the docstring as in its table, names as in its signature, and any shapes that broadcast."""

import importlib
import inspect
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import flowrig.physics

FOLDER = Path(inspect.getfile(flowrig.physics)).parent
MACHINERY = {"__init__", "balance", "classes", "discharge", "si"}  # labels a kernel, takes an equation, knows words


def kernels():
    found = {}
    for path in sorted(FOLDER.glob("*.py")):
        if path.stem in MACHINERY:
            continue
        module = importlib.import_module(f"flowrig.physics.{path.stem}")
        for name, function in inspect.getmembers(module, inspect.isfunction):
            if not name.startswith("_") and function.__module__ == module.__name__ and hasattr(function, "si"):
                found[name] = function
    return found


def public_functions():
    for path in sorted(FOLDER.glob("*.py")):
        if path.stem not in MACHINERY:
            module = importlib.import_module(f"flowrig.physics.{path.stem}")
            for name in getattr(module, "__all__", None) or vars(module):
                function = getattr(module, name)
                if not name.startswith("_") and inspect.isfunction(function) and function.__module__ == module.__name__:
                    yield module.__name__, name


KERNELS = kernels()
EVERY = pytest.mark.parametrize("function", KERNELS.values(), ids=list(KERNELS))


def sections(function):
    parts = re.split(r"^(\w+)\n-{3,}\n", inspect.getdoc(function), flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def entries(section):
    """The name of each entry of a section and the unit in brackets that closes its description."""
    found = {}
    for name, text in re.findall(r"^(\w+) : .*\n((?: {4}.*\n?|\n)+)", section, flags=re.MULTILINE):
        unit = re.search(r"\[([^\]]+)\]\s*$", text)
        found[name] = unit and unit.group(1)
    return found


@EVERY
def test_parameters_are_those_of_the_signature_with_the_units_of_the_table(function):
    documented = entries(sections(function)["Parameters"])
    assert list(documented) == list(inspect.signature(function).parameters)
    labelled = {name: unit for name, unit in function.si.items() if name != "return"}
    assert {name: unit for name, unit in documented.items() if unit} == labelled


@EVERY
def test_only_words_go_without_a_unit(function):
    for name, parameter in inspect.signature(function).parameters.items():
        assert (name in function.si) == (parameter.annotation not in ("str", str))


@EVERY
def test_outputs_have_the_units_of_the_table(function):
    unit = function.si["return"]
    wanted = [unit] if isinstance(unit, str) else list(unit.values() if isinstance(unit, dict) else unit)
    assert list(entries(sections(function)["Returns"]).values()) == wanted


@EVERY
def test_every_heading_is_there(function):
    assert {"Parameters", "Returns", "Raises", "Source", "Examples"} <= set(sections(function))


@pytest.mark.parametrize(("module", "name"), sorted(public_functions()))
def test_every_public_function_is_labelled(module, name):
    # `meaningful` answers with truth, not with a quantity, and is shared between two files of this layer only.
    assert name in KERNELS or name == "meaningful", f"{module}.{name} has no @si label"


def test_the_package_offers_every_kernel_and_nothing_else():
    assert set(flowrig.physics.__all__) == set(KERNELS)
    for name, function in KERNELS.items():
        assert getattr(flowrig.physics, name) is function
    assert set(KERNELS) <= set(dir(flowrig.physics))


def test_an_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="phlogiston"):
        flowrig.physics.phlogiston  # noqa: B018 - the look-up is what is tested


def test_importing_the_package_loads_no_numpy():
    code = "import sys, flowrig.physics; print('numpy' in sys.modules, 'scipy' in sys.modules)"
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=FOLDER.parent.parent
    )
    assert run.stdout.split() == ["False", "False"]


def test_the_layer_stays_clear_of_scipy_special():
    # It would triple the time to the first number.
    code = "import sys, flowrig.physics.air, flowrig.physics.nozzle, flowrig.physics.traverse; print(*sys.modules)"
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=FOLDER.parent.parent
    )
    assert "scipy" not in run.stdout.split()


# Two ordinary values of everything that a kernel takes.
ORDINARY = {
    "after": (900.0, 1000.0),
    "altitude": (200.0, 1500.0),
    "angle": (0.05, 0.2),
    "area": (0.001, 0.3),
    "area_ratio": (0.02, 0.1),
    "before": (1000.0, 1100.0),
    "beta": (0.0, 0.3),
    "calibrated_density": (0.97, 1.2),
    "calibrated_drop": (1.0, 50.0),
    "calibrated_flow": (0.01, 0.13),
    "calibrated_viscosity": (1.8e-5, 1.85e-5),
    "chamber_area": (1.0, 1.5),
    "chamber_density": (1.1, 1.19),
    "co2_fraction": (400e-6, 800e-6),
    "coarse_median": (10e-6, 11e-6),
    "coarse_spread": (3.1, 4.0),
    "coefficient": (0.97, 1.0),
    "coefficient_factor": (0.99, 1.01),
    "cold": (20.0, 21.4),
    "compression": (1.0, 1.3),
    "concentration": (50e6, 200e6),
    "correlation_ratio": (0.9, 1.05),
    "density": (1.1, 1.2),
    "density_ratio": (0.8, 1.1),
    "dew_point": (278.15, 283.15),
    "diameter": (0.1, 0.15),
    "downstream": (100.0, 150.0),
    "downstream_a": (100.0, 0.0),
    "downstream_b": (80.0, 120.0),
    "drop": (-20.0, 250.0),
    "edge_ratio": (0.02, 0.08),
    "expansion": (0.0, 1.0),
    "exponent": (0.5, 0.65),
    "factor": (20.0, 60.0),
    "fine_median": (0.25e-6, 0.3e-6),
    "fine_spread": (2.0, 2.2),
    "flow": (0.1, 0.2),
    "gap_flow": (0.001, 0.01),
    "hot": (24.0, 26.1),
    "indicated": (2.0, 3.0),
    "leak": (-0.01, 0.02),
    "length_ratio": (0.5, 0.6),
    "linear": (10.0, 40.0),
    "loss": (0.05, 0.1),
    "lower": (0.3e-6, 0.5e-6),
    "mass_flow": (0.1, 0.2),
    "media_efficiency": (0.5, 0.9),
    "meter_density": (1.1, 1.2),
    "meter_flow": (0.1, 0.2),
    "meter_side": (-1.0, 1.0),
    "other_density": (0.97, 1.2),
    "other_viscosity": (1.8e-5, 1.85e-5),
    "penetration": (0.2, 1.02),
    "place": (0.4, 0.5),
    "power": (50.0, 80.0),
    "pressure": (95e3, 101325.0),
    "pressure_ratio": (0.99, 1.001),
    "quadratic": (1.0, 14.0),
    "rate": (-20.0, -0.5),
    "reference_density": (1.2, 1.19),
    "reference_drop": (1.0, 25.0),
    "reference_flow": (0.01, 0.02),
    "relative_humidity": (0.3, 0.5),
    "reynolds": (5e4, 2e5),
    "room_cold": (293.15, 295.65),
    "room_density": (1.15, 1.2),
    "room_hot": (294.15, 296.55),
    "set_density": (1.2, 1.19),
    "share": (0.18, 0.45),
    "shown": (0.1, 0.2),
    "side": (0.5, 1.0),
    "size": (0.35e-6, 5e-6),
    "speed_ratio": (0.6, 1.2),
    "temperature": (293.15, 298.15),
    "throttled_flow": (0.08, 0.15),
    "throttled_pressure": (10.0, 20.0),
    "total_flow": (0.05, 0.2),
    "unit_density": (1.18, 1.2),
    "upper": (1e-6, 2.5e-6),
    "upstream": (1000.0, 1200.0),
    "upstream_a": (1000.0, 900.0),
    "upstream_b": (1000.0, 1100.0),
    "vapour_fraction": (0.0, 0.01),
    "vapour_pressure": (500.0, 1000.0),
    "velocity": (0.2, 1.5),
    "viscosity": (1.8e-5, 1.85e-5),
    "viscosity_ratio": (0.9, 1.1),
    "volume": (0.2, 1.5),
    "wet_bulb": (283.15, 288.15),
}
OWN_AXES = {
    "bank_beta",  # sums over its last axis, as those do that take channels of a counter
    "channel_counts",
    "coincidence_corrected",
    "coincidence_loss",
    "efficiency_at_size",
    "hood_free_flow_by_curve",  # takes a whole curve
    "particulate_efficiency",
    "range_averages",
    "volume_weights",
}
POINTWISE = {
    name: function
    for name, function in KERNELS.items()
    if not {"n", "positions"} & set(function.si) and name not in OWN_AXES
}
SPECIAL = {"ice_vapour_pressure": {"temperature": (253.15, 268.15)}}


@pytest.mark.parametrize("name", POINTWISE)
def test_each_input_may_have_an_axis_of_its_own(name):
    function = POINTWISE[name]
    names = list(inspect.signature(function).parameters)
    values = [np.array(SPECIAL.get(name, ORDINARY)[each]) for each in names]
    together = function(*np.meshgrid(*values, indexing="ij", sparse=True))
    assert together.shape == (2,) * len(names)
    assert np.all(np.isfinite(together))
    for index in np.ndindex(*together.shape):
        alone = function(*(float(value[place]) for value, place in zip(values, index, strict=True)))
        assert np.ndim(alone) == 0
        assert together[index] == pytest.approx(float(alone), rel=1e-14)


@pytest.mark.parametrize("name", POINTWISE)
def test_a_missing_input_gives_a_missing_result_and_no_warning(name):
    function = POINTWISE[name]
    names = list(inspect.signature(function).parameters)
    ordinary = {each: np.array(SPECIAL.get(name, ORDINARY)[each]) for each in names}
    for each in names:
        result = function(**{**ordinary, each: np.array([ordinary[each][0], np.nan])})
        assert np.isfinite(result[0])
        assert np.isnan(result[1]), f"{each} missing"


@pytest.mark.parametrize("name", POINTWISE)
@pytest.mark.parametrize("value", [0.0, -1.0, -1e30, 1e30])
def test_nonsense_gives_no_warning(name, value):
    # Warnings are errors in this test run. What the nonsense gives is tested kernel by kernel.
    function = POINTWISE[name]
    names = list(inspect.signature(function).parameters)
    for each in names:
        ordinary = {other: np.array(SPECIAL.get(name, ORDINARY)[other]) for other in names}
        assert function(**{**ordinary, each: np.array([value, ordinary[each][0]])}).shape == (2,)
        # Plain floats too: Python's own division would raise where numpy's gives infinity.
        plain = {other: float(both[0]) for other, both in ordinary.items()}
        assert np.ndim(function(**{**plain, each: value})) == 0
