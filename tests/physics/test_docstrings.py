"""Every kernel: units in the docstring as in its table, names as in its signature, and any shapes that broadcast."""

import importlib
import inspect
import re
import subprocess
import sys
from contextlib import contextmanager
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


@contextmanager
def of(name):
    """Whatever fails inside says of which kernel."""
    try:
        yield
    except BaseException as error:
        error.add_note(f"kernel: {name}")
        raise


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


def test_parameters_are_those_of_the_signature_with_the_units_of_the_table():
    for name, function in KERNELS.items():
        with of(name):
            documented = entries(sections(function)["Parameters"])
            assert list(documented) == list(inspect.signature(function).parameters)
            labelled = {each: unit for each, unit in function.si.items() if each != "return"}
            assert {each: unit for each, unit in documented.items() if unit} == labelled


def test_only_words_go_without_a_unit():
    for name, function in KERNELS.items():
        for each, parameter in inspect.signature(function).parameters.items():
            assert (each in function.si) == (parameter.annotation not in ("str", str)), f"{name}, {each}"


def test_outputs_have_the_units_of_the_table():
    for name, function in KERNELS.items():
        unit = function.si["return"]
        wanted = [unit] if isinstance(unit, str) else list(unit.values() if isinstance(unit, dict) else unit)
        assert list(entries(sections(function)["Returns"]).values()) == wanted, name


def test_every_heading_is_there():
    for name, function in KERNELS.items():
        assert {"Parameters", "Returns", "Raises", "Source", "Examples"} <= set(sections(function)), name


def test_every_public_function_is_labelled():
    functions = sorted(public_functions())
    assert len(functions) >= len(KERNELS)
    # `meaningful` answers with truth, not with a quantity, and is shared between two files of this layer only.
    unlabelled = [f"{module}.{name}" for module, name in functions if name not in KERNELS and name != "meaningful"]
    assert unlabelled == []


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
    "absorption": (0.1, 0.3),
    "after": (900.0, 1000.0),
    "age": (0.5, 3.0),
    "air_changes": (3.0, 5.0),
    "altitude": (200.0, 1500.0),
    "angle": (0.05, 0.2),
    "area": (0.001, 0.3),
    "area_ratio": (0.02, 0.1),
    "background": (35.0, 43.0),
    "before": (1000.0, 1100.0),
    "beta": (0.0, 0.3),
    "billings": (9.0, 12.0),
    "calibrated_density": (0.97, 1.2),
    "calibrated_drop": (1.0, 50.0),
    "calibrated_flow": (0.01, 0.13),
    "calibrated_viscosity": (1.8e-5, 1.85e-5),
    "cap": (1.3, 3.0),
    "chamber_area": (1.0, 1.5),
    "chamber_density": (1.1, 1.19),
    "clean_air": (0.05, 0.2),
    "co2_fraction": (400e-6, 800e-6),
    "coarse_median": (10e-6, 11e-6),
    "coarse_spread": (3.1, 4.0),
    "coefficient": (0.97, 1.0),
    "coefficient_factor": (0.99, 1.01),
    "cold": (20.0, 21.4),
    "compression": (1.0, 1.3),
    "concentration": (50e6, 200e6),
    "constant": (20.0, 40.0),
    "correlation_ratio": (0.9, 1.05),
    "demand": (0.0, 60.0),
    "demand_price": (0.01, 0.02),
    "density": (1.1, 1.2),
    "density_ratio": (0.8, 1.1),
    "deposition": (5e-5, 1e-4),
    "dew_point": (278.15, 283.15),
    "diameter": (0.1, 0.15),
    "directivity": (1.0, 2.0),
    "discount": (0.0, 0.03),
    "distance": (1.0, 2.0),
    "downstream": (100.0, 150.0),
    "downstream_a": (100.0, 0.0),
    "downstream_b": (80.0, 120.0),
    "drop": (-20.0, 250.0),
    "edge_ratio": (0.02, 0.08),
    "efficiency": (0.5, 0.9),
    "energy_price": (4e-8, 8e-8),
    "escalation": (-0.005, 0.03),
    "expansion": (0.0, 1.0),
    "exponent": (0.5, 0.65),
    "factor": (20.0, 60.0),
    "fine_median": (0.25e-6, 0.3e-6),
    "fine_spread": (2.0, 2.2),
    "first_cost": (100.0, 190.0),
    "flow": (0.1, 0.2),
    "frequency": (100.0, 1000.0),
    "gain": (1e-13, 5e-13),
    "gap_flow": (0.001, 0.01),
    "half_life": (600.0, 1200.0),
    "hot": (24.0, 26.1),
    "indicated": (2.0, 3.0),
    "infiltration": (1e-4, 3e-4),
    "inflation": (0.0, 0.025),
    "initial": (1e-7, 3e-7),
    "interval": (0.25, 1.5),
    "leak": (-0.01, 0.02),
    "leak_concentration": (5e-8, 2e-7),
    "length": (1.0, 2.0),
    "length_ratio": (0.5, 0.6),
    "level": (50.0, 57.0),
    "life": (5.0, 8.0),
    "limit": (3.0, 6.0),
    "linear": (10.0, 40.0),
    "loss": (1e-4, 2e-3),
    "loss_off": (1e-4, 2e-4),
    "loss_on": (2e-3, 3e-3),
    "lower": (0.3e-6, 0.5e-6),
    "mass_flow": (0.1, 0.2),
    "media": (0.2, 0.3),
    "media_efficiency": (0.5, 0.9),
    "meter_density": (1.1, 1.2),
    "meter_flow": (0.1, 0.2),
    "meter_side": (-1.0, 1.0),
    "nominal": (0.0, 0.055),
    "number": (2.0, 4.0),
    "other_density": (0.97, 1.2),
    "other_distance": (3.0, 4.0),
    "other_level": (45.0, 60.0),
    "other_viscosity": (1.8e-5, 1.85e-5),
    "outdoor": (1e-8, 2.5e-7),
    "outdoor_air": (0.0, 0.05),
    "outdoor_air_efficiency": (0.0, 0.7),
    "penetration": (0.8, 1.0),
    "per_person": (0.014, 0.02),
    "persons": (6.0, 30.0),
    "place": (0.4, 0.5),
    "power": (50.0, 80.0),
    "power_level": (55.0, 63.0),
    "present_cost": (1700.0, 2000.0),
    "pressure": (95e3, 101325.0),
    "pressure_ratio": (0.99, 1.001),
    "quadratic": (1.0, 14.0),
    "rate": (-20.0, -0.5),
    "real": (-0.01, 0.03),
    "reference_density": (1.2, 1.19),
    "reference_drop": (1.0, 25.0),
    "reference_flow": (0.01, 0.02),
    "relative_humidity": (0.3, 0.5),
    "return_leakage": (0.02, 0.1),
    "reynolds": (5e4, 2e5),
    "room_cold": (293.15, 295.65),
    "room_density": (1.15, 1.2),
    "room_hot": (294.15, 296.55),
    "running": (3.6e6, 1.5e7),
    "runtime": (0.3, 1.0),
    "salvage": (-5.0, 10.0),
    "set_density": (1.2, 1.19),
    "share": (0.9, 0.99),
    "short_circuit": (0.05, 0.2),
    "shown": (0.1, 0.2),
    "side": (0.5, 1.0),
    "size": (0.35e-6, 5e-6),
    "slope": (45.0, 55.0),
    "source": (0.0, 1e-9),
    "speed_ratio": (0.6, 1.2),
    "steepness": (3.0, 4.0),
    "supply_leakage": (0.05, 0.1),
    "surface": (100.0, 150.0),
    "system": (0.25, 0.4),
    "target": (9e-9, 3.5e-8),
    "temperature": (293.15, 298.15),
    "throttled_flow": (0.08, 0.15),
    "throttled_pressure": (10.0, 20.0),
    "time": (600.0, 3600.0),
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
    "yearly_air": (1e6, 2e6),
    "years": (5.0, 10.0),
}
# have a last axis of their own: they sum over it, or take a whole curve, course or row of channels along it
OWN_AXES = {
    "a_weighted_level",
    "a_weighted_level_sloped",
    "bank_beta",
    "break_even",
    "channel_counts",
    "coincidence_corrected",
    "coincidence_loss",
    "density_at_limits",
    "efficiency_across",
    "efficiency_at_size",
    "energy_mean",
    "energy_sum",
    "hood_free_flow_by_curve",
    "log_size_weights",
    "particulate_efficiency",
    "range_averages",
    "spectrum_slope",
    "volume_weights",
}
POINTWISE = {
    name: function
    for name, function in KERNELS.items()
    if not {"n", "positions"} & set(function.si) and name not in OWN_AXES
}
SPECIAL = {
    "band_frequency": {"nominal": (63.0, 8000.0)},
    "ice_vapour_pressure": {"temperature": (253.15, 268.15)},
    "short_circuit_share": {"flow": (0.2, 0.3), "efficiency": (0.7, 0.9), "clean_air": (0.05, 0.2)},
}


def test_each_input_may_have_an_axis_of_its_own():
    for name, function in POINTWISE.items():
        with of(name):
            names = list(inspect.signature(function).parameters)
            values = [np.array(SPECIAL.get(name, ORDINARY)[each]) for each in names]
            together = function(*np.meshgrid(*values, indexing="ij", sparse=True))
            assert together.shape == (2,) * len(names)
            assert np.all(np.isfinite(together))
            for index in np.ndindex(*together.shape):
                alone = function(*(float(value[place]) for value, place in zip(values, index, strict=True)))
                assert np.ndim(alone) == 0
                assert together[index] == pytest.approx(float(alone), rel=1e-14)


def test_a_missing_input_gives_a_missing_result_and_no_warning():
    for name, function in POINTWISE.items():
        with of(name):
            names = list(inspect.signature(function).parameters)
            ordinary = {each: np.array(SPECIAL.get(name, ORDINARY)[each]) for each in names}
            for each in names:
                result = function(**{**ordinary, each: np.array([ordinary[each][0], np.nan])})
                assert np.isfinite(result[0])
                assert np.isnan(result[1]), f"{each} missing"


@pytest.mark.parametrize("value", [0.0, -1.0, -1e30, 1e30])
def test_nonsense_gives_no_warning(value):
    # Warnings are errors in this test run. What the nonsense gives is tested kernel by kernel.
    for name, function in POINTWISE.items():
        with of(name):
            names = list(inspect.signature(function).parameters)
            for each in names:
                ordinary = {other: np.array(SPECIAL.get(name, ORDINARY)[other]) for other in names}
                assert function(**{**ordinary, each: np.array([value, ordinary[each][0]])}).shape == (2,)
                # Plain floats too: Python's own division would raise where numpy's gives infinity.
                plain = {other: float(both[0]) for other, both in ordinary.items()}
                assert np.ndim(function(**{**plain, each: value})) == 0
