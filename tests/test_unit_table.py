"""The factors, against the reference table (its columns `reference` and `status` say where each comes from)."""

from __future__ import annotations

import csv
import re
from fractions import Fraction
from pathlib import Path

import pint
import pytest

from flowrig import units
from flowrig.unit_table import TABLE

with (Path(__file__).parent / "reference" / "units.csv").open(encoding="utf-8") as file:
    REFERENCE = list(csv.DictReader(file))

CONVERSIONS = {  # item of the table and its unit -> our spelling, the spelling of the unit it is given in, the kind
    ("inH2O conventional (1000 kg/m3)", "Pa"): ("inH2O", "Pa", "pressure difference"),
    ("inH2O at 4 degC (39.2 degF)", "Pa"): ("inH2O@4degC", "Pa", "pressure difference"),
    ("inH2O at 60 degF", "Pa"): ("inH2O@60degF", "Pa", "pressure difference"),
    ("inH2O at 20 degC (68 degF)", "Pa"): ("inH2O@20degC", "Pa", "pressure difference"),
    ("inH2O at 70 degF", "Pa"): ("inH2O@70degF", "Pa", "pressure difference"),
    ("inHg conventional (0 degC)", "Pa"): ("inHg", "Pa", "pressure"),
    ("inHg at 60 degF", "Pa"): ("inHg@60degF", "Pa", "pressure"),
    ("mmHg", "Pa"): ("mmHg", "Pa", "pressure"),
    ("torr", "Pa"): ("torr", "Pa", "pressure"),
    ("cfm", "m3/s"): ("cfm", "m3/s", "flow"),
    ("cfm", "m3/h"): ("cfm", "m3/h", "flow"),
    ("cfm", "L/s"): ("cfm", "L/s", "flow"),
    ("fpm", "m/s"): ("fpm", "m/s", "velocity"),
    ("lbm/ft3", "kg/m3"): ("lbm/ft3", "kg/m3", "density"),
    ("lbf/ft2", "Pa"): ("lbf/ft2", "Pa", "pressure difference"),
    ("lbm/(ft s)", "Pa s"): ("lbm/(ft s)", "Pa s", "viscosity"),
}
NOT_FACTORS = {  # densities of air and a ratio of two of them: no unit of measure
    "standard air US 0.075 lbm/ft3",
    "standard air ISO",
    "ratio Q at 0.075 lbm/ft3 to Q at 1.2 kg/m3 (same mass flow)",
    "dry air 70 degF 29.92126 inHg",
    "dry air 20 degC 101.325 kPa",
    "dry air 0 degC 101.325 kPa (normal)",
}


def half_last_digit(printed: str) -> float:
    """A printed figure is right to half a unit of its last digit."""
    digits, _, exponent = printed.partition("e")
    return 0.5 * 10.0 ** (int(exponent or 0) - len(digits.partition(".")[2]))


def mark(status: str, otherwise: pytest.MarkDecorator) -> pytest.MarkDecorator:
    return pytest.mark.from_memory if "from memory" in status else otherwise


# The column `value` carries more digits than the print in the column `reference`: one is recomputed, the other read.
FACTORS = [
    pytest.param(
        row["value"],
        *CONVERSIONS[row["item"], row["unit"]],
        marks=mark(row["status"], pytest.mark.recomputed),
        id=f"{row['item']} [{row['unit']}]",
    )
    for row in REFERENCE
    if row["item"] not in NOT_FACTORS
]
PRINTED = [
    pytest.param(
        found[1],
        *CONVERSIONS[row["item"], row["unit"]],
        marks=mark(row["status"], pytest.mark.published),
        id=row["item"],
    )
    for row in REFERENCE
    if (found := re.fullmatch(r"NIST SP 811 (\S+)", row["reference"])) and found[1] != "2.49082e2"
]


@pytest.mark.parametrize(("value", "spelling", "in_unit", "kind"), FACTORS)
def test_factor_agrees_with_the_reference_table(value, spelling, in_unit, kind):
    converted = units.from_si(units.to_si(1.0, spelling, kind), in_unit, kind)
    assert abs(converted - float(value)) <= half_last_digit(value)


# Source: NIST Special Publication 811 (2008), appendix B.8 and B.9, as read in public unit tables; all digits printed.
@pytest.mark.parametrize(("printed", "spelling", "in_unit", "kind"), PRINTED)
def test_factor_agrees_with_the_printed_guide(printed, spelling, in_unit, kind):
    converted = units.from_si(units.to_si(1.0, spelling, kind), in_unit, kind)
    assert abs(converted - float(printed)) <= half_last_digit(printed)


# The guide prints 2.49082e2 for water at 39.2 degF. That fits water of 999.972 kg/m^3, the figure of the litre in force
# until 1964 (from memory); with the density found since, 999.9749, it is 249.08265 Pa: 0.65 of the last digit more.
@pytest.mark.from_memory
def test_printed_inch_of_water_at_4_degc_rests_on_the_older_density():
    assert pytest.approx(249.082, abs=half_last_digit("2.49082e2")) == 999.972 * 9.80665 * 0.0254
    assert units.factor("inH2O@4degC", "pressure difference")[0] == pytest.approx(249.082, rel=3e-6)


# Source: the density of water by IAPWS-95, as in CoolProp, at 101.325 kPa. The definitions carry 8 or 9 digits.
@pytest.mark.library
@pytest.mark.parametrize(
    ("spelling", "kelvin", "digit"),
    [
        ("inH2O@4degC", 277.15, 1e-5),
        ("inH2O@60degF", 459.67 / 1.8 + 60 / 1.8, 1e-6),
        ("inH2O@20degC", 293.15, 1e-6),
        ("inH2O@70degF", 459.67 / 1.8 + 70 / 1.8, 1e-6),
    ],
)
def test_inch_of_water_at_a_temperature_is_a_column_of_water(spelling, kelvin, digit):
    cool_prop = pytest.importorskip("CoolProp.CoolProp")
    density = cool_prop.PropsSI("D", "T", kelvin, "P", 101325.0, "Water")
    column = density * 9.80665 * 0.0254
    assert units.factor(spelling, "pressure difference")[0] == pytest.approx(column, abs=0.5 * digit)


# Source: exact by definition: foot 0.3048 m, pound 0.45359237 kg, gravity 9.80665 m/s^2, atmosphere 101325 Pa, mercury
# of 13595.1 kg/m^3; the Btu of the International Table is 4.1868 J/(g K) x pound x 5/9 K. Rational arithmetic.
FOOT, POUND, GRAVITY = Fraction("0.3048"), Fraction("0.45359237"), Fraction("9.80665")


@pytest.mark.recomputed
@pytest.mark.parametrize(
    ("spelling", "kind", "exact"),
    [
        ("cfm", "flow", FOOT**3 / 60),
        ("L/min", "flow", Fraction(1, 60000)),
        ("lbm/min", "mass flow", POUND / 60),
        ("psi", "pressure", POUND * GRAVITY / (FOOT / 12) ** 2),
        ("atm", "pressure", Fraction(101325)),
        ("torr", "pressure", Fraction(101325, 760)),
        ("mmHg", "pressure", Fraction("13595.1") * GRAVITY / 1000),
        ("inHg", "pressure", Fraction("13595.1") * GRAVITY * FOOT / 12),
        ("mmH2O", "pressure difference", GRAVITY),
        ("inH2O", "pressure difference", 1000 * GRAVITY * FOOT / 12),
        ("mph", "velocity", 5280 * FOOT / 3600),
        ("in", "length", FOOT / 12),
        ("ft2", "area", FOOT**2),
        ("hp", "power", 550 * FOOT * POUND * GRAVITY),
        ("kWh", "energy", Fraction(3600000)),
        ("Btu", "energy", Fraction("4186.8") * POUND * 5 / 9),
        ("W/(L/s)", "power per flow", Fraction(1000)),
        ("W/cfm", "power per flow", 60 / FOOT**3),
        ("cfm/W", "flow per power", FOOT**3 / 60),
        ("#/ft3", "concentration", 1 / FOOT**3),
        ("counts/0.1 L", "concentration", Fraction(10000)),
        ("ug/m3", "mass concentration", Fraction(1, 10**9)),
        ("rpm", "rotational speed", Fraction(1, 60)),
        ("ACH", "rate", Fraction(1, 3600)),
        ("%RH", "relative humidity", Fraction(1, 100)),
        ("USD/kWh", "price of energy USD", Fraction(1, 3600000)),
        ("year", "time", Fraction(8760 * 3600)),
        ("month", "time", Fraction(730 * 3600)),
    ],
)
def test_factor_is_the_exact_one(spelling, kind, exact):
    scale, offset = units.factor(spelling, kind)
    # inH2O is defined by its conventional figure of 8 digits, which the exact product, 249.08891 Pa, is in full.
    assert scale == pytest.approx(float(exact), rel=1e-14)
    assert offset == 0.0


@pytest.mark.recomputed
def test_temperatures_have_an_offset_and_their_differences_none():
    # Source: exact by definition: 0 degC is 273.15 K, 32 degF is 0 degC, 180 degF are 100 K.
    assert units.factor("degC", "temperature") == (1.0, 273.15)
    scale, offset = units.factor("°F", "temperature")
    assert scale == pytest.approx(5 / 9, rel=1e-15)
    assert offset == pytest.approx(float(Fraction("459.67") * 5 / 9), rel=1e-15)
    assert units.factor("C", "temperature difference") == (1.0, 0.0)
    assert units.factor("F", "temperature difference") == (scale, 0.0)


# Units the stock registry holds under another name or not at all, so that it cannot be asked, and those it defines
# otherwise: its year has 365.25 days, its Btu is the rounded 1055.056 J.
OWN_NAMES = re.compile(r"cubic_foot|foot_per_minute|_of_(water|mercury)|parts_per|USD|EUR|GBP")
DEFINED_OTHERWISE = {"year", "month", "british_thermal_unit", "british_thermal_unit/hour"}


@pytest.fixture(scope="module")
def stock():
    return pint.UnitRegistry()


@pytest.mark.library
@pytest.mark.parametrize(
    ("kind", "unit"),
    [
        (kind, unit)
        for kind, table in TABLE.items()
        for unit in table.units
        if not OWN_NAMES.search(unit) and unit not in DEFINED_OTHERWISE
    ],
)
def test_definition_agrees_with_the_stock_registry(kind, unit, stock):
    in_si = TABLE[kind].unit
    for magnitude in (0.0, 1.0, 40.0):
        ours = units.registry().Quantity(magnitude, unit).m_as(in_si)
        assert ours == pytest.approx(stock.Quantity(magnitude, unit).m_as(in_si), rel=1e-12)


def test_every_row_of_the_reference_table_is_used():
    assert {row["item"] for row in REFERENCE} == {item for item, _ in CONVERSIONS} | NOT_FACTORS
    assert len(FACTORS) == len(CONVERSIONS)
