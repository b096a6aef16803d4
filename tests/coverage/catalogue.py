"""Every rig of the study, and under which acceptance it falls."""

from __future__ import annotations

from functools import partial

from tests.coverage import (
    box_rigs,
    clean_air_rigs,
    compare_rigs,
    count_rigs,
    decay_rigs,
    face_rigs,
    fan_rigs,
    fit_rigs,
    hole_rigs,
    hood_rigs,
    inlet_rigs,
    leak_rigs,
    pipe_rigs,
    room_rigs,
    sound_rigs,
)
from tests.coverage.profiles import behind_a_bend, round_duct
from tests.coverage.rigs import Expected, Nozzle, Pair, Rig, Setup, Traverse, following

VANE = (0.02, 0.02, 0.01)
THERMAL = (0.03, 0.03, 0.01)
MANOMETER = (0.005, 0.25, 0.1)
BEND = ("lopsided profile", "rule in doubt", "uneven profile", "reversed flow")
few = partial(Nozzle, 100.0, noise=6.0)  # 6 Pa of 100 Pa: the scatter outweighs all else


def slow(name: str, expected: Expected, setup: Setup, flags: tuple[str, ...] = ()) -> Rig:
    return Rig(name, expected, setup, flags, slow=True)


RIGS = (
    Rig("nozzle, 25 Pa", "normal", Nozzle(25.0)),
    Rig("nozzle, 100 Pa", "normal", Nozzle(100.0)),
    Rig("nozzle, 250 Pa", "normal", Nozzle(250.0)),
    Rig("nozzle, 100 Pa, certificate with k=2", "normal", Nozzle(100.0, manometer=(0.01, 1.0, 0.1), normal=True)),
    Rig("bank of 150 and 100 mm, 180 Pa", "normal", Nozzle(180.0, diameters=(150.0, 100.0))),
    slow("nozzle, 25 Pa, manometer within 1 Pa", "rectangular", Nozzle(25.0, manometer=(0.0, 1.0, 0.1))),
    slow("nozzle, 25 Pa, display of whole Pa", "rectangular", Nozzle(25.0, noise=0.1, manometer=(0.0, 0.1, 1.0))),
    Rig("12 scattered repeats", "normal", few(repeats=12)),
    slow("4 scattered repeats", "few", few(repeats=4)),
    slow("3 scattered repeats", "few", few(repeats=3)),
    Rig("3 repeats, little scatter", "normal", Nozzle(100.0, repeats=3)),
    Rig("zero drifts, read", "normal", Nozzle(25.0, drift=0.5, zero="read")),
    Rig("zero read, holds the fixed error", "normal", Nozzle(25.0, zero="holds the error")),
    Rig("difference of two runs, 100 and 90 Pa", "normal", Pair(Nozzle(100.0), Nozzle(90.0))),
    Rig("difference of two runs, 100 and 25 Pa", "normal", Pair(Nozzle(100.0), Nozzle(25.0))),
    slow("vane, 1 m/s, limits filled", "rectangular", Traverse("vane", 1.0, True, VANE)),
    slow("vane, 2 m/s, limits filled", "rectangular", Traverse("vane", 2.0, True, VANE)),
    slow("vane, 5 m/s, limits filled", "rectangular", Traverse("vane", 5.0, True, VANE)),
    slow("pitot, 3 m/s, limits filled", "rectangular", Traverse("pitot", 3.0, True, MANOMETER)),
    slow("pitot, 10 m/s, limits filled", "rectangular", Traverse("pitot", 10.0, True, MANOMETER)),
    slow("pitot, round duct, 10 m/s, limits filled", "rectangular",
        Traverse("pitot", 10.0, True, MANOMETER, profile=round_duct)),
    slow("thermal, 2 m/s, limits filled", "rectangular", Traverse("thermal", 2.0, True, THERMAL)),
    slow("vane, 2 m/s, straight duct", "assumed limits", Traverse("vane", 2.0, False, VANE)),
    slow("vane, 2 m/s, straight duct, two passes", "assumed limits", Traverse("vane", 2.0, False, VANE, passes=2)),
    slow("vane, 2 m/s, straight duct, one pass", "assumed limits", Traverse("vane", 2.0, False, VANE, passes=1)),
    slow("pitot, 3 m/s, straight duct", "assumed limits", Traverse("pitot", 3.0, False, MANOMETER)),
    slow("pitot, 10 m/s, straight duct", "assumed limits", Traverse("pitot", 10.0, False, MANOMETER)),
    slow("pitot, 10 m/s, straight duct, equal areas", "assumed limits",
         Traverse("pitot", 10.0, False, MANOMETER, equal_area=True)),
    slow("pitot, round, 10 m/s, straight duct, equal areas", "assumed limits",
         Traverse("pitot", 10.0, False, MANOMETER, profile=round_duct, equal_area=True)),
    slow("thermal, 2 m/s, straight duct", "assumed limits", Traverse("thermal", 2.0, False, THERMAL)),
    Rig("log of 600 s, no memory", "normal", Nozzle(100.0, noise=5.0, repeats=600, log=True)),
    *(
        Rig(f"log of 600 s, memory of {time} s", "misspecified",
            Nozzle(100.0, noise=5.0, repeats=600, log=True, follows=following(time)), ("short log", "not steady"),
            slow=time > 15)
        for time in (5, 15, 30, 60)
    ),
    Rig("flow unsteady by 20 % of drop, not said", "misspecified",
        Nozzle(100.0, noise=20.0, repeats=60, log=True, real=True), ("unsteady readings",)),
    Rig("sensor noisy by 20 % of drop, not said", "misspecified",
        Nozzle(100.0, noise=20.0, repeats=60, log=True), ("unsteady readings",)),
    Rig("flow unsteady by 20 % of drop, said", "normal",
        Nozzle(100.0, noise=20.0, repeats=60, log=True, real=True, said="real")),
    Rig("sensor noisy by 20 % of drop, said", "normal",
        Nozzle(100.0, noise=20.0, repeats=60, log=True, said="noise")),
    Rig("zero drifts by up to 0.5 Pa at 25 Pa, not read", "misspecified", Nozzle(25.0, drift=0.5), ("zero not read",)),
    slow("vane, 2 m/s, jet behind a bend", "misspecified", Traverse("vane", 2.0, False, VANE, profile=behind_a_bend),
        BEND),
    slow("vane, 2 m/s, swirl of 10°, not said", "misspecified", Traverse("vane", 2.0, False, VANE, angle=10.0),
        ("steep flow angle",)),
    slow("pitot, 10 m/s, swirl of 10°, not said", "misspecified",
        Traverse("pitot", 10.0, False, MANOMETER, angle=10.0), ("steep flow angle",)),
    slow("pitot, 10 m/s, swirl of 10°, said", "assumed limits",
        Traverse("pitot", 10.0, False, MANOMETER, angle=10.0, stated_yaw=True)),
    *leak_rigs.RIGS,
    *hole_rigs.RIGS,
    *hood_rigs.RIGS,
    *face_rigs.RIGS,
    *compare_rigs.RIGS,
    *pipe_rigs.RIGS,
    *box_rigs.RIGS,
    *inlet_rigs.RIGS,
    *fit_rigs.RIGS,
    *fan_rigs.RIGS,
    *decay_rigs.RIGS,
    *sound_rigs.RIGS,
    *room_rigs.RIGS,
    *clean_air_rigs.RIGS,
    *count_rigs.RIGS,
)  # fmt: skip
