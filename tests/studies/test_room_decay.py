"""Decays of a room to a clean-air rate: against worked figures of the reference, and what each field is for."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import flowrig
from flowrig.physics.room import loss_from_half_life
from flowrig.studies.room_decay import DecayResult
from tests.reference.load import rows
from tests.studies.decays import ALL, COUNTER, VOLUME, background, changed, counted, decays

REFERENCE = Path(__file__).parents[1] / "reference"
ANSWERS = tomllib.loads((REFERENCE / "decay_answers.toml").read_text(encoding="utf-8"))
HALF_LIVES = tomllib.loads((REFERENCE / "fans_worked.toml").read_text(encoding="utf-8"))["half_life_rows"]
CFM = 0.3048**3 / 60.0
NOTHING_ELSE = {"mixing_limit": "0 %", "natural_limit": "0 1/h", "clock_limit": "0 %", "mixing_time": "0 s"}


def reduced(record: dict[str, Any], samples: int | None = None) -> DecayResult:
    part = flowrig.reduce(record, samples=samples).parts["decay"]
    assert isinstance(part, DecayResult)
    return part


def codes(part: DecayResult) -> set[str]:
    return {finding.code for finding in part.findings}


def regression(**decay: Any) -> dict[str, Any]:
    """The pair of the reference, its concentrations without a counter: equal weights in the logarithm."""
    runs = [
        {
            "name": which,
            "cleaner": cleaner,
            "floor_at_most": "0.0000001 %",
            "counts": {
                "time [min]": [float(row["time_min"]) for row in rows("decay_pair.csv")],
                "0.3-1 um [1/cm3]": [float(row[f"{which}_count_per_cm3"]) for row in rows("decay_pair.csv")],
            },
        }
        for which, cleaner in (("operating", "on"), ("natural", "off"))
    ]
    room = {"net_volume": "1008 ft3 ± 40.32 ft3 (k=2)", "lowest_signal": 0.0, **NOTHING_ELSE, **decay}
    return {"title": "Regression (synthetic)", "date": "2026-07-14", "decay": room, "decay_runs": runs}


# Source: regression check of the reference, two libraries; V (k_on - k_off) of ANSI/AHAM AC-1.
@pytest.mark.recomputed
def test_the_pair_of_the_reference():
    [told] = reduced(regression()).told
    wanted = ANSWERS["cadr"]
    assert told.rate.on.value * 60.0 == pytest.approx(wanted["k_total_per_min"], rel=1e-7)
    assert told.rate.off.value * 60.0 == pytest.approx(wanted["k_natural_per_min"], rel=1e-6)
    assert told.clean_air.estimate.value / CFM == pytest.approx(wanted["cadr_cfm"], rel=1e-6)
    assert told.clean_air.to("cfm").value == pytest.approx(wanted["cadr_cfm"], rel=1e-6)
    assert told.clean_air.to("m3/h").value == pytest.approx(wanted["cadr_m3_per_h"], rel=1e-6)
    # the residuals of the natural decay have no memory, so that its error is the plain one of the regression
    assert told.rate.off.u * 60.0 == pytest.approx(ANSWERS["natural"]["se_slope"], rel=1e-5)
    assert told.rate.off.dof == pytest.approx(ANSWERS["natural"]["df"], abs=1e-3)


# Source: the same with 2 % on the volume: ±6 cfm, where the fit alone says ±1.07.
@pytest.mark.recomputed
def test_the_volume_is_an_error_of_both_rates_at_once():
    part = reduced(regression())
    [told] = part.told
    shares = {line.cause.name: line for line in told.clean_air.estimate.budget()}
    wanted = ANSWERS["cadr_with_volume"]
    assert shares["net volume of the room"].u / CFM == pytest.approx(wanted["u_V_contribution_cfm"], rel=1e-5)
    assert told.clean_air.to("cfm").u == pytest.approx(wanted["combined_standard_uncertainty_cfm"], rel=2e-3)
    # no narrower than the plain regression
    sure = reduced(regression(net_volume="1008 ft3 ± 0.001 ft3 (k=2)")).told[0].clean_air.to("cfm")
    fit = ANSWERS["cadr"]["cadr_ci95_halfwidth_cfm"]
    assert fit < (sure.high - sure.low) / 2 < 1.25 * fit


# Source: the floor trap of the reference.
@pytest.mark.recomputed
def test_the_floor_of_the_reference():
    table = {
        "time [min]": [float(row["time_min"]) for row in rows("decay_floor.csv")],
        "0.3-1 um [1/cm3]": [float(row["count_per_cm3"]) for row in rows("decay_floor.csv")],
    }
    record = regression(natural_rate="0 1/h ± 0.1 1/h", lowest_signal=0.1)
    record["decay_runs"] = [{"name": "on", "cleaner": "on", "counts": table}]
    [told] = reduced(record).told
    [fall] = told.rate.falls
    wanted = ANSWERS["floor_trap"]["three_parameter_log_fit"]
    assert fall.used.sum() == 31
    assert fall.known is None
    assert told.rate.on.value * 60.0 == pytest.approx(wanted["k_per_min"], rel=1e-7)
    assert fall.fit.floor / 1e6 == pytest.approx(wanted["floor"], rel=1e-6)
    record["decay_runs"][0]["floor_at_most"] = "0.0000001 %"
    trap = ANSWERS["floor_trap"]["ols_no_correction"]["slope"]
    assert reduced(record).told[0].rate.on.value * 60.0 == pytest.approx(-trap, rel=1e-7)


# Source: half-lives in print (31 m3, 18.4 / 13.2 / 9.6 min), recomputed with the continuous formula.
@pytest.mark.recomputed
@pytest.mark.parametrize("speed", ["low", "medium", "high"])
def test_half_lives_in_print(speed):
    row = HALF_LIVES[speed]
    run = {"name": speed, "cleaner": "on", "half_life": f"{row['half_life_min']} min ± 0.05 min"}
    room = {"net_volume": "31 m3 ± 0.5 m3", "natural_rate": "0 1/h ± 0.000001 1/h", **NOTHING_ELSE}
    part = reduced({"title": speed, "date": "2026-07-14", "decay": room, "decay_runs": [run]})
    [told] = part.told
    assert told.clean_air.to("m3/min").value == pytest.approx(row["cadr_continuous_m3_min"], rel=1e-7)
    assert told.clean_air.to("m3/min").value > 1.018 * row["cadr_discrete_m3_min"]
    low, high = row["continuous_interval_from_half_life_rounding_m3_min"]
    by_half_life = next(b for b in told.clean_air.estimate.budget() if b.cause.name.startswith("half-life")).u
    assert by_half_life * 60.0 * math.sqrt(3.0) == pytest.approx((high - low) / 2, rel=1e-3)
    by_volume = next(b for b in told.clean_air.estimate.budget() if b.cause.name.startswith("net volume")).u
    assert by_volume / told.clean_air.estimate.value * math.sqrt(3.0) == pytest.approx(0.5 / 31, rel=1e-6)
    assert {"half-life read off", "natural decay stated, not measured"} <= codes(part)
    assert loss_from_half_life(row["half_life_min"]) * 31 == pytest.approx(row["cadr_continuous_m3_min"], rel=1e-7)


def test_a_room_is_found_again_from_its_counts():
    part = reduced(decays(channels=ALL))
    assert [str(told.rate.sizes) for told in part.told] == ["0.3 to 0.5 um", "0.5 to 1 um", "from 1 um"]
    for told in part.told:
        assert told.on.value == pytest.approx(8.4, rel=2e-3)
        assert told.off.value == pytest.approx(0.4, rel=5e-3)
        assert told.clean_air.value == pytest.approx(VOLUME * 8.0, rel=2e-3)
    assert not codes(part) - {"assumed"}
    first = part.told[0].clean_air
    assert part.rate(0.3e-6, 0.5e-6) is first
    assert part.rate(0.3e-6, 1e-6) is None
    assert next(iter(part.quantities.values())) is first
    assert len(part.told[0].rate.falls) == 2


def test_the_volume_is_one_cause_of_every_size():
    one, other = reduced(decays()).told
    shared = [c for c in one.clean_air.estimate.parts if c in other.clean_air.estimate.parts]
    assert {c.name for c in shared} >= {"net volume of the room", "imperfect mixing", "clock of counter A (C1)"}
    assert one.clean_air.estimate.cov(other.clean_air.estimate) > 0.0
    # of the rates themselves it is no cause
    assert not any("volume" in c.name for c in one.on.estimate.parts)


def test_records_of_one_room_share_the_error_of_its_volume():
    named, other, apart = (
        reduced(changed(decays(on=on), {"room": room})).told[0].clean_air.estimate
        for on, room in ((8.4, "workshop"), (6.0, "workshop"), (8.4, None))
    )
    shared = [c for c in named.parts if c in other.parts]
    assert "net volume of the room" in {c.name for c in shared}
    assert "net volume of the room" not in {c.name for c in apart.parts if c in named.parts}


def test_what_stands_in_the_room_is_taken_off():
    net = reduced(decays()).told[0].clean_air.value
    record = changed(decays(), {"net_volume": None, "room_volume": "52.1 m3 ± 0.5 m3", "taken_up": "3.5 m3 ± 0.5 m3"})
    part = reduced(record)
    assert part.told[0].clean_air.value == pytest.approx(net, rel=1e-9)
    assert part.volume.value == pytest.approx(48.6)
    assert "volume between the walls" not in codes(part)
    gross = reduced(changed(record, {"taken_up": None}))
    assert gross.volume.value == pytest.approx(0.95 * 52.1)
    assert "volume between the walls" in codes(gross)
    assert gross.volume.u * math.sqrt(3.0) == pytest.approx(math.hypot(0.05 * 52.1, 0.5), rel=1e-6)


@pytest.mark.parametrize("per", ["sample", "L", "ft3"])
@pytest.mark.parametrize("counts", ["by channel", "cumulative"])
def test_counts_as_counters_print_them(per, counts):
    """The raw counts are the same, whatever is printed; so are the rates and their bars."""
    wanted = reduced(decays(seed=3)).told[0]
    record = decays(seed=3)
    record["counters"]["A"] |= {"per": per, "counts": counts}
    volume = {"sample": 1.0, "L": 2.83, "ft3": 2.83e-3 / 0.3048**3}[per]
    for run in record["decay_runs"]:
        for name in ("counts", "background"):
            for key in ("0.5 um", "0.3 um") if name in run else ():
                column = np.asarray(run[name][key], dtype=float)
                above = "0.5 um" if key == "0.3 um" and counts == "cumulative" else None
                run[name][key] = column / volume + (np.asarray(run[name][above]) if above else 0.0)
    told = reduced(record).told[0]
    assert told.clean_air.value == pytest.approx(wanted.clean_air.value, rel=1e-6)
    assert told.rate.on.u == pytest.approx(wanted.rate.on.u, rel=1e-5)


def test_channels_are_put_together_to_the_ranges_asked_for():
    part = reduced(changed(decays(seed=5, channels=ALL), {"ranges": "0.3 to 1 um, from 0.3 um, 2 to 5 um"}))
    assert [str(told.rate.sizes) for told in part.told][3:] == ["0.3 to 1 um", "from 0.3 um"]
    one, other, _, both, _ = part.told
    counts = both.rate.falls[0].run.counts
    assert counts[:, 3] == pytest.approx(counts[:, 0] + counts[:, 1])
    assert one.clean_air.value < both.clean_air.value < other.clean_air.value or (
        other.clean_air.value < both.clean_air.value < one.clean_air.value
    )
    assert part.rate(0.3e-6, 1e-6) is both.clean_air


def test_the_window_is_that_of_its_rule():
    [fall, _] = reduced(decays()).told[0].rate.falls
    assert fall.span[0] == pytest.approx(60.0)  # the mixing time that is taken where none is stated
    signal = fall.fit.at(fall.run.time - fall.span[0])
    assert np.all(signal[fall.used] >= 0.1 * fall.fit.floor * 0.98)
    assert fall.halvings == pytest.approx(8.4 / 60 * (fall.span[1] - fall.span[0]) / 60 / math.log(2), rel=1e-2)
    later = changed(decays(), {"mixing_time": "2 min", "lowest_signal": 3.0}, on={"start": "3 min", "end": "35 min"})
    [fall, natural] = reduced(later).told[0].rate.falls
    assert fall.span[0] == pytest.approx(300.0)
    assert natural.span[0] == pytest.approx(120.0)
    # 3 % of the first level is left 25 min after the beginning
    assert fall.span[1] / 60.0 == pytest.approx(math.log(1.0 / 0.03) / 8.4 * 60.0, abs=1.5)


def test_a_floor_is_fitted_told_or_assumed():
    fitted, told = (reduced(decays()).told[0].rate.falls[i] for i in (0, 1))
    assert (fitted.known, fitted.assumed, told.assumed) == (None, False, False)
    assert fitted.fit.floor == pytest.approx(0.01 * 12e6, rel=0.02)
    assert told.fit.floor == pytest.approx(0.05 * 12e6, rel=1e-3)
    untold = reduced(changed(decays(), off={"background": None}))
    assert "floor assumed" in codes(untold)
    [_, fall] = untold.told[0].rate.falls
    assert fall.assumed
    # a floor anywhere from none to a fifth of the first level leaves the natural rate a fifth open
    assert untold.told[0].rate.off.u / untold.told[0].rate.off.value == pytest.approx(0.2 / math.sqrt(12), rel=0.3)
    assert untold.told[0].clean_air.value == pytest.approx(VOLUME * 8.0, rel=0.02)
    stated = reduced(changed(decays(), off={"background": None, "floor_at_most": "10 %"}))
    assert "floor assumed" not in codes(stated)
    assert stated.told[0].rate.off.value == pytest.approx(0.4 / 3600, rel=5e-3)


def test_a_background_that_two_runs_share_is_one_error():
    record = decays()
    same = dict(background(0.05))
    record["decay_runs"].append({"name": "off, again", "cleaner": "off", "counts": counted(0.4, 0.05, 60)})
    for run in record["decay_runs"][1:]:
        run["background"] = same
    two = reduced(record).told[0]
    alone = reduced(decays()).told[0]
    part = {c.name: abs(p[0]) for c, p in two.rate.off.parts.items()}
    once = {c.name: abs(p[0]) for c, p in alone.rate.off.parts.items()}
    assert part["background, natural decay"] > 0.0
    counting = "counting in a run, natural decay"
    assert once[counting] == pytest.approx(
        next(abs(p[0]) for c, p in two.rate.off.parts.items() if c.name == counting) * 2, rel=0.01
    )


def test_runs_that_differ_are_told_and_widen_the_bar():
    record = decays(seed=7)
    record["decay_runs"].append({"name": "on, again", "cleaner": "on", "counts": counted(8.4, 0.01, 40, seed=17)})
    alike = reduced(record, samples=1000)
    assert "runs differ" not in codes(alike)
    corner = {"name": "again", "cleaner": "on", "place": "in the corner", "counts": counted(7.4, 0.01, 40, seed=17)}
    record["decay_runs"][-1] = corner
    unlike = reduced(record, samples=1000)
    [said] = [f.message for f in unlike.findings if f.code == "runs differ"]
    assert "again (in the corner) 7." in said
    assert unlike.told[0].on.value == pytest.approx(7.9, rel=0.01)
    between = [b for b in unlike.told[0].on.estimate.budget() if b.cause.name.startswith("what runs differ by")]
    assert between[0].u * 3600 == pytest.approx(1.0 / 2.0, rel=0.05)  # s/√2 of two runs 1.0 apart
    assert between[0].cause.dof == 1.0


def test_a_clock_moves_both_rates_alike():
    told = reduced(changed(decays(), {"clock_limit": "2 %"})).told[0]
    [cause] = [c for c in told.rate.on.parts if c.name.startswith("clock")]
    assert told.rate.on.parts[cause][0] == pytest.approx(-0.02 / math.sqrt(3) * told.rate.on.value)
    moved = told.clean_air.estimate.parts[cause][0] / told.clean_air.estimate.value
    assert moved == pytest.approx(-0.02 / math.sqrt(3), rel=1e-4)


def test_particles_that_hid_each_other_are_put_back():
    record = decays(channels=ALL)
    del record["counters"]["A"]["max_concentration"]
    record["counters"]["A"] |= {"dead_time": "0.00001 s"}
    flow, dead = 2.83e-3 / 60.0, 1e-5
    for run in record["decay_runs"]:
        total = sum(np.asarray(run["counts"][name]) for name in ("0.3 um", "0.5 um", "1 um")) / 2.83e-3
        for name in ("0.3 um", "0.5 um", "1 um"):  # counted short by exp(-Q tau N), over all channels
            run["counts"][name] = np.round(np.asarray(run["counts"][name]) * np.exp(-flow * dead * total))
    told = reduced(record).told[0]
    assert told.on.value == pytest.approx(8.4, rel=2e-3)
    [cause] = [c for c in told.rate.on.parts if c.name.endswith("dead time")]
    assert cause in told.rate.off.parts
    moved = told.rate.on.parts[cause][0] * math.sqrt(3) / 0.5  # for the whole of the dead time
    del record["counters"]["A"]["dead_time"]
    short = reduced(record).told[0]
    assert short.rate.on.value < told.rate.on.value
    assert short.rate.on.value - told.rate.on.value == pytest.approx(-moved, rel=0.1)


def test_the_natural_rate_may_be_stated():
    record = changed(decays(), {"natural_rate": "0.4 1/h ± 0.2 1/h"})
    del record["decay_runs"][1]
    part = reduced(record)
    assert part.told[0].clean_air.value == pytest.approx(VOLUME * 8.0, rel=2e-3)
    assert "natural decay stated, not measured" in codes(part)
    share = {b.cause.name: b.u for b in part.told[0].clean_air.estimate.budget()}["natural rate"]
    assert share * 3600 == pytest.approx(VOLUME * 0.2 / math.sqrt(3), rel=1e-6)


def test_what_the_natural_decay_leaves_open_is_a_limit():
    def limit(**decay: Any) -> float:
        told = reduced(changed(decays(), decay)).told[0]
        [own] = [b for b in told.clean_air.estimate.budget() if b.cause.name.startswith("air exchange and settling")]
        return float(own.u) * math.sqrt(3) / VOLUME * 3600

    assert limit() == pytest.approx(0.1 * 0.4, rel=0.01)
    assert limit(natural_run="unit off") == pytest.approx(0.5 * 0.4, rel=0.01)
    assert limit(natural_run="unit off", natural_limit="0.3 1/h") == pytest.approx(0.3, rel=1e-6)
    assert limit(windows_and_doors="changed") == pytest.approx(0.2, rel=0.01)


def test_a_size_that_tells_no_rate_is_left_out():
    record = decays(channels=ALL)
    record["decay_runs"][0]["counts"]["1 um"] = np.zeros(41)
    part = reduced(record)
    assert [str(told.rate.sizes) for told in part.told] == ["0.3 to 0.5 um", "0.5 to 1 um"]
    [left] = [f for f in part.findings if f.code == "size left out"]
    assert "from 1 um" in left.message


def test_a_counter_of_a_run_of_its_own():
    record = decays()
    record["counters"]["B"] = {**COUNTER, "serial": "C2"}
    record = changed(record, {"counter": "A"}, off={"counter": "B"})
    told = reduced(record).told[0]
    clocks = {c.name for c in told.clean_air.estimate.parts if c.name.startswith("clock")}
    assert clocks == {"clock of counter A (C1)", "clock of counter B (C2)"}


def test_samples_that_are_smaller_than_stated_are_so_in_the_background_too():
    record = decays(seed=19)
    record["counters"]["A"]["per"] = "ft3"
    volume = 2.83e-3 / 0.3048**3
    for run in record["decay_runs"]:
        for name in ("counts", "background"):
            for key in ("0.3 um", "0.5 um") if name in run else ():
                # a sample of a tenth of what flow and time say, printed for a cubic foot
                run[name][key] = np.round(np.asarray(run[name][key]) / 10.0) * np.round(10.0 / volume)
    part = reduced(record)
    assert "sample smaller than stated" in codes(part)
    for run in part.told[0].rate.falls:
        assert run.run.exposure[0] == pytest.approx(2.83e-4, rel=0.02)
    [_, natural] = part.told[0].rate.falls
    [background] = [
        p for c, p in part.told[0].rate.off.parts.items() if c.name.startswith("counting of the background")
    ]
    assert abs(background[0]) > 0.0
    assert natural.run.floor.counting[0] == pytest.approx(np.sqrt(np.sum(170 * 5) / (5 * 2.83e-4) ** 2), rel=0.02)
