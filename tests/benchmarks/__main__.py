"""`python -m tests.benchmarks`: speed as ratios, each measured in this one run. Nothing here can fail."""

from __future__ import annotations

import argparse
import datetime as dt
import json
import math
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from uncertainties import ufloat, umath

from flowrig.methods.nozzle import kernel
from flowrig.records.record import Record
from flowrig.studies.bank import Entry
from flowrig.studies.cleaner import setup
from flowrig.studies.efficiency import held_back
from flowrig.studies.filter_law import filter_law
from flowrig.studies.reduce import load
from flowrig.studies.sweep import sweep
from flowrig.uncertainty.batch import batch_interval
from flowrig.uncertainty.cause import Cause
from flowrig.uncertainty.estimate import Estimate
from flowrig.uncertainty.interval import linear_interval
from flowrig.uncertainty.montecarlo import chunks
from flowrig.uncertainty.propagate import linear

ROOT = Path(__file__).parents[2]
EXAMPLE = "examples/01-nozzle-bank/record.toml"
AXES = ("row", "nozzle")
OUTPUTS = {"mass_flow": ("row",), "density": ("row",)}
U = {"drop": 1.0, "static": 2.0, "density": 0.003, "pressure": 60.0, "viscosity": 2e-7, "diameter": 1e-4}


def seconds(work: Callable[[], Any], repeats: int = 3) -> float:
    """Shortest of a few runs: what the work takes when nothing else gets in the way."""
    best = math.inf
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best


def inputs(rows: int, extra: int = 0) -> dict[str, Estimate]:
    """One nozzle, `rows` tests: shared instrument errors, noise of its own for each row, `extra` more shared causes."""
    rng = np.random.default_rng(1)
    drop = rng.uniform(100.0, 600.0, rows)
    parts = {
        Cause("manometer", shape="rectangular"): (0.005 * drop + 0.25)[np.newaxis] / math.sqrt(3),
        Cause("noise", each="row"): np.full((1, rows), U["drop"]),
    }
    parts |= {Cause(f"more {i}"): np.full((1, rows), 0.1) for i in range(extra)}
    level = {"static": -12.0, "density": 1.19, "pressure": 1e5, "viscosity": 1.83e-5}
    shared = {name: Estimate(value, (), {Cause(name): [U[name]]}) for name, value in level.items()}
    return {
        "drop": Estimate(drop, ("row",), parts),
        **shared,
        "diameter": Estimate([0.15], ("nozzle",), {Cause("diameter"): [[U["diameter"]]]}),
        "length_ratio": Estimate([0.6], ("nozzle",)),
        "coefficient_factor": Estimate([1.0], ("nozzle",)),
    }


def directions(made: dict[str, Estimate]) -> int:
    return len({cause for x in made.values() for cause in x.parts})


def bare(made: dict[str, Estimate]) -> Callable[[], Any]:
    """The kernel alone, on the nominal values, in the chunks that suit the processor's cache."""
    drop = made["drop"].value[:, np.newaxis]
    rest = {name: x.value.reshape(1, -1) for name, x in made.items() if name != "drop"}

    def work() -> None:
        for start in range(0, len(drop), 16_384):
            kernel(drop=drop[start : start + 16_384], **rest)

    return work


def by_objects(drops: Any) -> list[Any]:
    """The same formula on numbers of the `uncertainties` package, one row at a time."""
    static, density, pressure = ufloat(-12.0, U["static"]), ufloat(1.19, U["density"]), ufloat(1e5, U["pressure"])
    viscosity, diameter = ufloat(1.83e-5, U["viscosity"]), ufloat(0.15, U["diameter"])
    limit = ufloat(0.0, 1.0)
    flows = []
    for shown in drops:
        drop = shown + (0.005 * shown + 0.25) / math.sqrt(3) * limit + ufloat(0.0, U["drop"])
        inlet = pressure + static
        inlet_density = density * inlet / pressure
        ratio = 1 - drop / inlet
        y = umath.sqrt(1.4 / 0.4 * ratio ** (2 / 1.4) * (1 - ratio ** (0.4 / 1.4)) / (1 - ratio))
        ideal = y * umath.sqrt(2 * drop / inlet_density)
        coefficient: Any = 0.98
        for _ in range(4):
            reynolds = inlet_density * coefficient * ideal * diameter / viscosity
            coefficient = 0.9986 - 7.006 / umath.sqrt(reynolds) + 134.6 / reynolds
        flow = coefficient * math.pi / 4 * diameter**2 * ideal * inlet_density
        # reading the uncertainty is what walks the derivatives: without it nothing has been worked out
        flows.append((flow.nominal_value, flow.std_dev))
    return flows


def object_seconds_per_row(rows: int = 40) -> float:
    drops = np.linspace(100.0, 600.0, rows)
    return seconds(lambda: by_objects(drops)) / rows


def batch(rows: int) -> dict[str, float]:
    made = inputs(rows)
    n = directions(made)
    base = seconds(bare(made))
    spread = seconds(lambda: linear(kernel, made, AXES, OUTPUTS))
    flow = linear(kernel, made, AXES, OUTPUTS)["mass_flow"]
    ends = seconds(lambda: batch_interval(flow), 2)
    objects = object_seconds_per_row() * rows
    return {
        "rows": rows,
        "directions": n,
        "kernel_seconds": base,
        "linear_seconds": spread,
        "interval_seconds": ends,
        "ratio_to_kernel": spread / base,
        "aim_at_most": 2 * n + 2,
        "ratio_with_intervals": (spread + ends) / base,
        "objects_over_ours": objects / spread,
        "aim_at_least": 200,
    }


def monte_carlo(draws: int = 1_000_000) -> dict[str, float]:
    made = inputs(1)
    flow = linear(kernel, made, AXES, OUTPUTS)["mass_flow"]
    n = directions(made)

    def ours() -> None:
        for _ in chunks([flow], draws):
            pass

    def least() -> None:
        rng = np.random.default_rng(1)
        for _ in range(0, draws, 8_192):
            z = [rng.random(8_192), *(rng.standard_normal(8_192) for _ in range(n - 1))]
            kernel(
                drop=(300.0 + z[0] + z[1]).reshape(-1, 1, 1),
                static=(-12.0 + 2 * z[2]).reshape(-1, 1, 1),
                density=(1.19 + 0.003 * z[3]).reshape(-1, 1, 1),
                pressure=(1e5 + 60 * z[4]).reshape(-1, 1, 1),
                viscosity=(1.83e-5 + 2e-7 * z[5]).reshape(-1, 1, 1),
                diameter=(0.15 + 1e-4 * z[6]).reshape(-1, 1, 1),
                length_ratio=np.full((1, 1, 1), 0.6),
                coefficient_factor=np.ones((1, 1, 1)),
            )

    base, full = seconds(least, 2), seconds(ours, 2)
    return {
        "draws": draws,
        "kernel_and_random_numbers_seconds": base,
        "seconds": full,
        "ratio": full / base,
        "aim_at_most": 2,
    }


FAN_FLOWS = (0.0, 300.0, 600.0, 900.0, 1200.0, 1500.0, 1800.0)  # m3/h; fan and filter are invented
FAN_PRESSURES = (72.0, 66.0, 57.0, 46.0, 33.0, 18.0, 0.0)


def cleaner(counts: list[int], loads: list[float], widths: list[float]) -> Record:
    """A fan, a filter and the air they run in; what is swept is every number, load and gap with every other."""
    heading = {"title": "Benchmark", "date": dt.date(2026, 8, 10), "invented": True}
    fan = {"figures": "stated", "flow": [f"{x:g} m3/h" for x in FAN_FLOWS],
           "pressure": [f"{x:g} Pa" for x in FAN_PRESSURES]}  # fmt: skip
    panel = {"figures": "stated", "width": "500 mm", "height": "500 mm", "linear": "38 Pa ± 3 Pa",
             "quadratic": "14 Pa ± 2 Pa", "final_drop": "125 Pa", "final_velocity": "1.25 m/s",
             "particles": "1 to 3 um", "efficiency": ["88 %", "82 %"],
             "efficiency_velocity": ["0.2 m/s", "1.5 m/s"]}  # fmt: skip
    air = {"temperature": "20 degC ± 1 K", "pressure": "1013 hPa ± 1 hPa", "relative_humidity": "50 % ± 5 %"}
    sweep_ = {"count": counts, "loaded": [f"{x:.10g} %" for x in loads], "gap_width": [f"{x:.10g} mm" for x in widths]}
    return load(heading | {
        "air": {"unit": air}, "predict": {"fan": heading | {"fan": fan}},
        "filters": [{"filter": heading | {"filter": panel}}], "sweep": sweep_,
    })  # fmt: skip


def one_design(record: Record, count: int, loaded: float, width: float) -> dict[str, Any]:
    """The same design predicted alone, with the same quantities and linear bands as in a sweep."""
    task = record.prediction
    assert task is not None
    section = task.filters[0]
    load_ = Estimate(np.array([loaded]), ("row",))
    entry = Entry(section, [filter_law(section.value("filter"))], None, np.array([count]), np.array([width]), load_)
    found = setup(record, [entry], None, ("row",))
    near = np.array([max(t for t, falls in found.crossings()[0] if falls)])
    out = found.solved(near)
    held, _ = held_back(found.entries, out, ("row",))
    assert held is not None
    wanted = {name: out[name] for name in ("flow", "pressure", "share")} | {"clean_air": held.clean}
    return {name: (x.value[0], *(end[0] for end in linear_interval(x)[:2])) for name, x in wanted.items()}


def designs(side: tuple[int, int, int] = (20, 25, 20), alone: int = 20) -> dict[str, float]:
    """Designs with bands in one call, against a loop of single predictions with the same linear bands."""
    counts, loads, widths = list(range(1, side[0] + 1)), np.linspace(0, 100, side[1]), np.linspace(0, 1, side[2])
    record = cleaner(counts, list(loads), list(widths))
    rng = np.random.default_rng(1)
    some = [(int(rng.choice(counts)), float(rng.choice(loads)) / 100, float(rng.choice(widths)) / 1e3)
            for _ in range(alone)]  # fmt: skip
    one_design(record, *some[0])  # loads what is loaded once
    loop = seconds(lambda: [one_design(record, *design) for design in some], 2) / alone
    together = seconds(lambda: sweep(record), 1)
    number = math.prod(side)
    return {
        "designs": number,
        "sweep_seconds": together,
        "single_seconds": loop,
        "loop_seconds": loop * number,
        "loop_over_sweep": loop * number / together,
    }


def command(arguments: list[str], repeats: int) -> float:
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        subprocess.run([sys.executable, *arguments], check=True, capture_output=True, cwd=ROOT)
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def starts(repeats: int = 9) -> dict[str, float]:
    click = command(["-c", "import click"], repeats)
    shown = command(["-m", "flowrig", "--help"], repeats)
    libraries = command(["-c", "import numpy, pint, uncertainties"], repeats)
    reduced = command(["-m", "flowrig", "reduce", EXAMPLE], repeats)
    return {
        "import_click_seconds": click,
        "help_seconds": shown,
        "help_ratio": shown / click,
        "help_aim_at_most": 2,
        "import_libraries_seconds": libraries,
        "reduce_seconds": reduced,
        "reduce_ratio": reduced / libraries,
        "reduce_aim_at_most": 1.5,
    }


def spread_seconds(made: dict[str, Estimate]) -> float:
    return seconds(lambda: linear(kernel, made, AXES, OUTPUTS), 2)


def growth() -> dict[str, list[tuple[float, float]]]:
    """Seconds against rows, and against causes at a fixed number of rows."""
    by_rows = [(rows, spread_seconds(inputs(rows))) for rows in (1, 10, 100, 1_000, 10_000, 100_000, 1_000_000)]
    by_causes = []
    for extra in (0, 8, 24, 56):
        made = inputs(20_000, extra)
        by_causes.append((directions(made), spread_seconds(made)))
    return {"rows": by_rows, "causes": by_causes}


def draw(found: dict[str, list[tuple[float, float]]], path: Path) -> None:
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot as plt

    figure, (left, right) = plt.subplots(1, 2, figsize=(9, 3.6), layout="constrained")
    left.loglog(*zip(*found["rows"], strict=True), marker="o", color="#0b5394")
    left.set(xlabel="rows", ylabel="time for full error bars [s]", title="7 directions")
    right.plot(*zip(*found["causes"], strict=True), marker="s", color="#b45309")
    right.set(xlabel="directions of error", ylabel="time for full error bars [s]", title="20 000 rows", ylim=(0, None))
    for axes in (left, right):
        axes.grid(color="0.85")
    figure.savefig(path)


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("--json", type=Path, help="write every figure as JSON")
    parser.add_argument("--plot", type=Path, help="draw how cost grows with rows and causes (SVG or PNG)")
    options = parser.parse_args()
    found: dict[str, Any] = {
        "batch_1e5": batch(100_000),
        "batch_1e6": batch(1_000_000),
        "monte_carlo": monte_carlo(),
        "designs_1e4": designs(),
        "starts": starts(),
    }
    for name, figures in found.items():
        print(name)
        for key, value in figures.items():
            print(f"  {key:<36}{value:>12.4g}")
    found["growth"] = growth()
    for name, pairs in found["growth"].items():
        print(f"seconds by {name}: " + ", ".join(f"{int(x)}: {t:.3g}" for x, t in pairs))
    if options.plot:
        draw(found["growth"], options.plot)
    if options.json:
        options.json.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
