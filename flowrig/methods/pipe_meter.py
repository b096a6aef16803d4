"""Meters between the flanges of a round pipe: what orifice plate, nozzle and venturi tube have in common."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from flowrig.methods import pipe_limits, static
from flowrig.methods.cautions import COMMON, Caution
from flowrig.methods.method import Coefficient, Effect, Method, Situation, Size, span
from flowrig.methods.pipe_device import Device, bore_of, device_of
from flowrig.physics.pipe import pipe_reynolds
from flowrig.physics.si import Floats
from flowrig.records.declare import Choice, Given, Names, Reading, Table, Text, Wrong
from flowrig.records.items import Array, Section
from flowrig.uncertainty.estimate import Estimate

NORMAL_95 = 1.96  # the standards state their uncertainties at 95 %; the shape is taken as normal
REDUCED = 0.005  # added to the uncertainty of the coefficient by a reduced straight length, arithmetically


def kernel(
    drop: Array,
    static: Array,
    density: Array,
    pressure: Array,
    viscosity: Array,
    diameter: Array,
    pipe_diameter: Array,
    device: Device,
) -> dict[str, Floats]:
    """Mass flow through the meter, and the density at its upstream tapping."""
    inlet_pressure = pressure + static
    inlet_density = density * inlet_pressure / pressure
    beta = diameter / pipe_diameter
    flow = device.flow(drop, inlet_density, inlet_pressure, viscosity, diameter, beta)
    return {
        "mass_flow": flow * inlet_density,
        "density": inlet_density,
        "reynolds": pipe_reynolds(flow, inlet_density, viscosity, pipe_diameter),
        "beta": beta,
        "pressure_ratio": 1.0 - np.abs(drop) / inlet_pressure,
    }


# hardware


def hardware(name: str, help_: str, bore: str, kind: Choice) -> Table:
    """Table of a meter with its pipe; `kind` is the field that says which of the standard's kinds it is."""
    return Table(
        name,
        help_,
        (
            Given("diameter", bore, required=True, kind="length", above=0.0, high=2.0, example='"120 mm ± 0.05 mm"'),
            Given(
                "pipe_diameter",
                "Inside diameter of the pipe just before it, measured, not the nominal size.",
                required=True,
                kind="length",
                above=0.0,
                high=3.0,
                example='"203.2 mm ± 0.4 mm"',
            ),
            kind,
            Text("serial", "Identity, where it is used in several records."),
            Text("notes", "Anything else."),
        ),
        checks=(_smaller_than_its_pipe,),
    )


def _smaller_than_its_pipe(section: Section) -> Sequence[Wrong]:
    if section.value("diameter") < section.value("pipe_diameter"):
        return []
    pipe = f"{1e3 * section.value('pipe_diameter'):g} mm"
    return [Wrong("diameter", f"less than the pipe's, {pipe}", "Check both diameters; were they swapped?")]


# fields of a flow

DROP = Reading(
    "drop",
    "Static pressure at the upstream tapping less that at the downstream one (in the throat of a venturi).",
    required=True,
    kind="pressure difference",
    low=-50e3,
    high=50e3,
    positive=True,
    example='"620 Pa"',
)
STATIC = Reading(
    "static",
    "Gauge static pressure at the upstream tapping (negative under suction). Left out, it is taken as zero: 100 Pa of "
    "it are 0.05 % of the flow.",
    kind="pressure difference",
    low=-20e3,
    high=20e3,
    example='"-350 Pa"',
)
STRAIGHT_LENGTH = Choice(
    "straight_length",
    "The straight pipe before and after, held against the lengths that the standard has for the fitting upstream: full "
    "(at least the longer ones, for no additional uncertainty), reduced (on one side only the shorter ones, for 0.5 % "
    "more), too short (shorter still, or reduced on both sides; for which the standard has no figure). The lengths are "
    "not printed here: take them from the part of ISO 5167 that the meter was made to.",
    choices=("not stated", "full", "reduced", "too short"),
    aim="full",
    asked=True,
)


# uncertainties that the standard states


def _coefficient_limit(situation: Situation) -> Floats:
    """Beyond the widest beta that the standard has a figure for, the one at that beta; a flag says so."""
    device, n = device_of(situation), situation.nominal
    beta = np.minimum(n["beta"], device.widest)
    bore = bore_of(situation) * beta / n["beta"]  # the same pipe
    stated = device.coefficient_uncertainty(np.maximum(n["reynolds"], 1.0), beta, bore)
    return stated + (REDUCED if situation.value("straight_length") == "reduced" else 0.0)


def _coefficient(equation: str) -> Callable[[Situation], Size | None]:
    def size(situation: Situation) -> Size | None:
        return Size(limit=_coefficient_limit(situation)) if device_of(situation).equation == equation else None

    return size


def _along(situation: Situation, reynolds: Array) -> Array:
    return np.asarray(device_of(situation).coefficient(reynolds, situation.nominal["beta"], bore_of(situation)))


def _expansibility(situation: Situation) -> Size:
    n = situation.nominal
    return Size(limit=device_of(situation).expansibility_uncertainty(n["pressure_ratio"], n["beta"]))


def _effects(method: str, equations: Mapping[str, str], sources: tuple[str, str]) -> tuple[Effect, ...]:
    return (
        *(
            Effect(
                f"method:{method}:{equation} coefficient",
                f"{thing} coefficient (standard)",
                "How well the standard knows the coefficient of a meter made, mounted and used as it asks: its own "
                "uncertainty at 95 %, taken as normal and so divided by 1.96. Where only the reduced straight length "
                "is there, 0.5 % is added to it arithmetically. One error shared by every use.",
                _coefficient(equation),
                shape="normal",
                divisor=NORMAL_95,
                scope="method",
                source=sources[0],
            )
            for equation, thing in equations.items()
        ),
        Effect(
            f"method:{method}:expansibility",
            f"{method} expansibility (standard)",
            "How well the standard's equation knows the expansibility: its own uncertainty at 95 %, which goes as the "
            "drop over the absolute pressure, taken as normal and so divided by 1.96. One error shared by every use.",
            _expansibility,
            shape="normal",
            divisor=NORMAL_95,
            scope="method",
            source=sources[1],
        ),
    )


def _summary(situation: Situation) -> str:
    device, n = device_of(situation), situation.nominal
    coefficient = device.coefficient(np.maximum(n["reynolds"], 1.0), n["beta"], bore_of(situation))
    expansibility = device.expansibility(n["pressure_ratio"], n["beta"])
    return (
        f"drop {float(np.mean(situation.inputs['drop'].value)):.5g} Pa, diameter ratio {span(n['beta'], '', 4)}, "
        f"coefficient {span(coefficient, '', 4)} ± {100 * float(np.max(_coefficient_limit(situation))):.2f} % at pipe "
        f"Reynolds {span(n['reynolds'], '')}, expansibility {span(expansibility, '', 5)}"
    )


FLANGES = Caution(
    "Before a flange is undone: fan off and locked out, pipe without pressure and cool. Two people for a heavy plate; "
    "its edge cuts, and a touched edge no longer meters.",
    "general trade practice (from memory)",
)
CONVENTIONS = (
    "density and absolute pressure at the upstream tapping; flow at the air there",
    "viscosity at the dry bulb, ratio of specific heats 1.4",
    "taken as made and mounted as the standard asks: edge, roughness, roundness, centring and tappings are not checked",
)


def pipe_meter(
    name: str,
    title: str,
    help_: str,
    source: str,
    table: Table,
    names: Names,
    kind: str,
    devices: Mapping[str, Device],
    equations: Mapping[str, str],
    sources: tuple[str, str],
    conventions: tuple[str, ...],
) -> Method:
    """Declaration of a method.

    Parameters
    ----------
    name, title, help_, source : str
        As in `Method`.
    table : Table
        From `hardware`.
    names : Names
        Field of the flow that names a piece of it.
    kind : str
        Field of the table whose words are the keys of `devices`.
    devices : dict of str to Device
    equations : dict of str to str
        Every `Device.equation`, and whose coefficient that is, in words.
    sources : tuple of two str
        Of the uncertainties of the coefficient and of the expansibility.
    conventions : tuple of str
        Beside those all of these meters share.
    """

    def prepare(situation: Situation) -> None:
        [piece] = situation.hardware[table.name]
        situation.options["device"] = devices[piece.value(kind)]
        situation.inputs.setdefault("static", Estimate(0.0))

    return Method(
        name=name,
        title=title,
        help=help_,
        source=source,
        fields=(DROP, names, STATIC, STRAIGHT_LENGTH),
        kernel=kernel,
        air=("density", "pressure", "viscosity"),
        hardware=(table,),
        prepare=prepare,
        effects=_effects(name, equations, sources),
        limits=(*pipe_limits.LIMITS, *static.LIMITS),
        coefficient=Coefficient(
            "discharge coefficient", _along, tuple(f"method:{name}:{equation} coefficient" for equation in equations)
        ),
        summary=_summary,
        conventions=(*conventions, *CONVENTIONS),
        cautions=(*COMMON, FLANGES),
    )
