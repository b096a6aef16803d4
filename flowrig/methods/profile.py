"""Whether a plane and what was read in it are fit for a traverse: the flags that every traverse shares."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from flowrig.methods import static
from flowrig.methods.method import Limit, Situation, Window
from flowrig.physics import traverse as physics
from flowrig.records.declare import FlagMeaning
from flowrig.records.items import Array

LOPSIDED = 0.3  # of the mean: own judgement, no source

UNEVEN = FlagMeaning(
    "uneven profile",
    "alarm",
    "Fewer than three quarters of the velocity pressures are above a tenth of the largest: the plane is not fit for "
    "a traverse. Find a better one.",
    "AMCA 203 (from memory)",
)
REVERSED = FlagMeaning(
    "reversed flow",
    "alarm",
    "Part of the plane flows backwards. Neither the rule nor the probe is meant for it; find a better plane.",
    "AMCA 203 (from memory)",
)
ASYMMETRIC = FlagMeaning(
    "lopsided profile",
    "warning",
    "Opposite halves of the plane differ by more than 30 % of the mean: a bend, damper or fan is near.",
    "threshold: own judgement, no source",
)
FEW_POINTS = FlagMeaning(
    "few traverse points",
    "warning",
    "Fewer points than usual practice for a duct of this size.",
    "ASHRAE 111 practice (read on public pages)",
)
STEEP_YAW = FlagMeaning(
    "steep flow angle",
    "warning",
    "The flow leaves the duct axis by more than 10 degrees; the plane is not fit for a traverse.",
    "AMCA 203: 10 degrees; ISO 3966: 5 degrees (both from memory)",
)
RULES_DISAGREE = FlagMeaning(
    "rule in doubt",
    "warning",
    "The rule and a second interpolant of the same readings differ by more than 4 %: the profile is too steep for so "
    "few points. The difference is in the error bar; more points or a better plane would shrink it.",
)


def _percent(shares: Array) -> str:
    return f"{100 * float(np.nanmax(np.abs(shares))):.1f} %"


def _halves(situation: Situation) -> dict[str, Array]:
    """Difference between opposite halves over the mean, by the direction they lie in; one a row of a batch."""
    plan = situation.layout
    assert plan is not None
    velocity, mean = situation.nominal["velocity"], situation.nominal["mean_velocity"][..., 0]
    numbers = np.asarray(plan.points)[:, 0]
    directions: dict[str, tuple[Array, NDArray[np.bool_]]] = {}
    for name, distance in plan.positions.items():
        ratio = distance / plan.extent[name]
        if name == "depth":
            directions |= {f"along diameter {n}": (ratio, numbers == n) for n in np.unique(numbers)}
        else:
            directions["left and right" if name == "x" else "top and bottom"] = ratio, numbers > 0
    gaps = {}
    for name, (ratio, among) in directions.items():
        near, far = ((ratio < 0.5 - 1e-9) & among, (ratio > 0.5 + 1e-9) & among)
        gap = np.mean(velocity[..., near], axis=-1) - np.mean(velocity[..., far], axis=-1)
        gaps[name] = np.abs(gap / mean)[..., np.newaxis]
    return gaps


def _lopsided(situation: Situation) -> Array:
    return np.asarray(np.max(list(_halves(situation).values()), axis=0) > LOPSIDED)


def _lopsided_in_words(situation: Situation) -> str:
    worst = {name: float(np.nanmax(gap)) for name, gap in _halves(situation).items()}
    said = [f"{name} differ by {100 * gap:.0f} % of the mean" for name, gap in worst.items() if gap > LOPSIDED]
    return "halves " + ", ".join(said)


def _points(situation: Situation) -> list[tuple[str, int, int]]:
    """What was read and what is usual: direction, points, usual points."""
    plan = situation.layout
    assert plan is not None
    if "depth" in plan.extent:
        usual = int(physics.points_per_diameter(plan.extent["depth"]))
        return [("on a diameter", 2 * situation.value("per_radius"), usual)]
    return [
        (word, situation.value(word), int(physics.points_rule(plan.extent[side])))
        for word, side in (("across", "x"), ("down", "y"))
    ]


def _few_points_in_words(situation: Situation) -> str:
    return ", ".join(
        f"{read} points {word}, usually {usual}" for word, read, usual in _points(situation) if read < usual
    )


def _uneven(situation: Situation) -> Array:
    pressure = situation.nominal["velocity"] ** 2
    good = np.mean(pressure > 0.1 * np.max(pressure, axis=-1, keepdims=True), axis=-1, keepdims=True)
    return np.asarray(good < 0.75)


def _share_of_duct(situation: Situation) -> float:
    return float((situation.value("blockage_area") or 0.0) / situation.inputs["area"].value)


BLOCKED = FlagMeaning(
    "probe large for the duct",
    "warning",
    "The probe fills more than 5 % of the duct: what that does to the flow is poorly known. Use a smaller probe.",
    "threshold: common practice, no source",
)

# of any plane, in a duct or before a face
EVEN = Limit(UNEVEN, _uneven, lambda s: "fewer than three quarters of the points carry a tenth of the largest pressure")
RULES = Limit(
    RULES_DISAGREE,
    lambda s: np.abs(s.nominal["rule_difference"]) > 0.04,
    lambda s: f"the second interpolant lies {_percent(s.nominal['rule_difference'])} away",
    window=Window("rule_difference", "difference of two ways to average, of the mean", -0.04, 0.04, unit="%"),
)

LIMITS = (
    *static.LIMITS,
    Limit(
        BLOCKED,
        lambda s: _share_of_duct(s) > 0.05,
        lambda s: f"the probe fills {100 * _share_of_duct(s):.0f} % of the duct",
    ),
    EVEN,
    Limit(
        ASYMMETRIC,
        _lopsided,
        _lopsided_in_words,
    ),
    Limit(FEW_POINTS, lambda s: any(read < usual for _, read, usual in _points(s)), _few_points_in_words),
    Limit(
        STEEP_YAW,
        lambda s: s.value("yaw", 0.0) > np.radians(10.0) + 1e-9,
        lambda s: f"flow angle of {np.degrees(s.value('yaw')):.0f}° stated",
    ),
    RULES,
)
REVERSAL = Limit(
    REVERSED,
    lambda s: s.nominal["velocity"] < 0.0,
    lambda s: f"{int(np.sum(np.any(np.atleast_2d(s.nominal['velocity'] < 0.0), axis=0)))} points read backwards",
)
