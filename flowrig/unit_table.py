"""The closed table behind `flowrig.units`: what each unit is, and how it may be spelled. Data only.

`DEFINITIONS` is the one place where a factor stands. `TABLE` groups the spellings by kind, because a dimension alone
does not tell a pressure from a pressure difference, or a watt from a volt ampere. A new unit is a line in each.

In a spelling ``µ``, ``°``, ``*`` and ``H2O`` stand for every way of writing micro, degree, a product and water, and an
exponent for its plain, caret and superscript forms; `flowrig.units` writes them all out.

Sources of the factors. NIST Special Publication 811 (2008), appendix B: the conventional inch of water (2.490 889 E+02,
water of 1000 kg/m^3) and of mercury (3.386 389 E+03). Inches of water at a stated temperature: density of water there
(IAPWS-95) times 9.806 65 m/s^2 times 0.0254 m. Inch of mercury at 60 degF: from memory. Exact by definition: inch,
pound, atmosphere, standard gravity, and with them cfm, psi and the horsepower of 550 ft lbf/s. The Btu is that of the
International Table, from memory. A year is 365 days (8760 h) and a month a twelfth of it: common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Kind:
    """What may be converted into one another.

    Attributes
    ----------
    si : str
        Label of the SI unit used inside flowrig; itself an accepted spelling, of factor 1.
    unit : str
        The same unit in words that any pint registry understands.
    display : str
        The spelling results are shown in unless something else is asked for.
    units : dict of str to str
        Expression in the private registry to its accepted spellings, separated by a bar, the usual one first.
    needs, bars : frozenset of str
        Where dimension does not settle the kind: names of units of which a quantity must hold one, or may hold none.
    """

    si: str
    unit: str
    display: str
    units: dict[str, str]
    needs: frozenset[str] = frozenset()
    bars: frozenset[str] = frozenset()


CURRENCIES = {"USD": "USD | $ | US$", "EUR": "EUR | €", "GBP": "GBP | £"}

DEFINITIONS = """
meter = [length] = m
second = [time] = s
kilogram = [mass] = kg
ampere = [current] = A
kelvin = [temperature]; offset: 0 = K
radian = [angle] = rad
count = [count]
decibel = [sound_level] = dB
volt_ampere = [apparent_power] = VA
degree_Celsius = kelvin; offset: 273.15 = degC
degree_Fahrenheit = 5 / 9 * kelvin; offset: 459.67 * 5 / 9 = degF

percent = 0.01
parts_per_million = 1e-6 = ppm
degree = 3.141592653589793 / 180 * radian = deg
revolution = 2 * 3.141592653589793 * radian = rev

nanometer = 1e-9 * meter = nm
micrometer = 1e-6 * meter = um
millimeter = 1e-3 * meter = mm
centimeter = 1e-2 * meter = cm
decameter = 10 * meter = dam
kilometer = 1e3 * meter = km
inch = 0.0254 * meter = in
foot = 0.3048 * meter = ft
mile = 5280 * foot = mi
liter = 1e-3 * meter ** 3 = L
milliliter = 1e-6 * meter ** 3 = mL
deciliter = 1e-4 * meter ** 3 = dL
millisecond = 1e-3 * second = ms
minute = 60 * second = min
hour = 60 * minute = h
day = 24 * hour = d
week = 7 * day
year = 365 * day
month = year / 12
hertz = 1 / second = Hz
kilohertz = 1e3 * hertz = kHz
revolutions_per_minute = revolution / minute = rpm
cubic_foot_per_minute = foot ** 3 / minute = cfm
foot_per_minute = foot / minute = fpm
knot = 1852 * meter / hour
microgram = 1e-9 * kilogram = ug
milligram = 1e-6 * kilogram = mg
gram = 1e-3 * kilogram = g
tonne = 1e3 * kilogram = t
pound = 0.45359237 * kilogram = lb
ounce = pound / 16 = oz
standard_gravity = 9.80665 * meter / second ** 2
newton = kilogram * meter / second ** 2 = N
pound_force = pound * standard_gravity = lbf

pascal = newton / meter ** 2 = Pa
micropascal = 1e-6 * pascal = uPa
millipascal = 1e-3 * pascal = mPa
hectopascal = 100 * pascal = hPa
kilopascal = 1e3 * pascal = kPa
millibar = 100 * pascal = mbar
bar = 1e5 * pascal
standard_atmosphere = 101325 * pascal = atm
torr = standard_atmosphere / 760
pound_force_per_square_inch = pound_force / inch ** 2 = psi
millimeter_of_water = 9.80665 * pascal = mmH2O
centimeter_of_water = 98.0665 * pascal = cmH2O
inch_of_water = 249.08891 * pascal = inH2O
inch_of_water_4degC = 249.08265 * pascal
inch_of_water_60degF = 248.844076 * pascal
inch_of_water_20degC = 248.642331 * pascal
inch_of_water_70degF = 248.583589 * pascal
millimeter_of_mercury = 133.322387415 * pascal = mmHg
inch_of_mercury = 25.4 * millimeter_of_mercury = inHg
inch_of_mercury_60degF = 3376.8485 * pascal
centipoise = 1e-3 * pascal * second = cP

joule = newton * meter = J
millijoule = 1e-3 * joule = mJ
kilojoule = 1e3 * joule = kJ
megajoule = 1e6 * joule = MJ
british_thermal_unit = 1055.05585262 * joule = Btu
watt = joule / second = W
milliwatt = 1e-3 * watt = mW
kilowatt = 1e3 * watt = kW
megawatt = 1e6 * watt = MW
horsepower = 550 * foot * pound_force / second = hp
watt_hour = watt * hour = Wh
kilowatt_hour = kilowatt * hour = kWh
kilovolt_ampere = 1e3 * volt_ampere = kVA
volt = watt / ampere = V
millivolt = 1e-3 * volt = mV
kilovolt = 1e3 * volt = kV
milliampere = 1e-3 * ampere = mA
ohm = volt / ampere
milliohm = 1e-3 * ohm
kiloohm = 1e3 * ohm
megaohm = 1e6 * ohm
USD = [USD]
EUR = [EUR]
GBP = [GBP]
"""

# Names a stock registry gives to units it cannot tell apart by dimension: it takes a turn for 2 pi, so that an rpm read
# as 1/s would come out 6.28 times too large; a volt ampere for a watt; and a step of one degree for a temperature.
_TURNING = frozenset(
    {
        "radian",
        "milliradian",
        "degree",
        "arcminute",
        "arcsecond",
        "grade",
        "turn",
        "revolution",
        "revolutions_per_minute",
        "revolutions_per_second",
    }
)
_STEPS = frozenset({"delta_degree_Celsius", "delta_degree_Fahrenheit", "delta_degree_Reaumur"})
_READINGS = frozenset({"degree_Celsius", "degree_Fahrenheit", "degree_Reaumur"})
_SCALES = _TURNING | {"decibel", "decibelmilliwatt", "decibelmicrowatt", "neper", "octave", "decade"}

_SHARED_PRESSURES = {
    "pascal": "Pa",
    "hectopascal": "hPa",
    "kilopascal": "kPa",
    "millibar": "mbar | mb",
    "bar": "bar",
    "inch_of_mercury": "inHg | in Hg | in. Hg | inHg@0°C",
    "inch_of_mercury_60degF": "inHg@60°F",
    "millimeter_of_mercury": "mmHg | mm Hg",
    "torr": "torr",
}

TABLE: dict[str, Kind] = {
    "flow": Kind(
        "m3/s",
        "meter**3/second",
        "m3/h",
        {
            "meter**3/second": "m3/s | m3*s-1 | m3/sec",
            "meter**3/minute": "m3/min",
            "meter**3/hour": "m3/h | m3*h-1 | m3/hr",
            "liter/second": "L/s | L/sec",
            "liter/minute": "L/min | lpm",
            "liter/hour": "L/h",
            "milliliter/minute": "mL/min | cm3/min",
            "cubic_foot_per_minute": "cfm | acfm | ft3/min | cu ft/min | cu. ft./min",
            "foot**3/second": "ft3/s | cfs",
            "foot**3/hour": "ft3/h | cfh",
        },
    ),
    "mass flow": Kind(
        "kg/s",
        "kilogram/second",
        "kg/h",
        {
            "kilogram/second": "kg/s",
            "kilogram/minute": "kg/min",
            "kilogram/hour": "kg/h",
            "gram/second": "g/s",
            "gram/minute": "g/min",
            "pound/second": "lb/s | lbm/s",
            "pound/minute": "lb/min | lbm/min",
            "pound/hour": "lb/h | lbm/h",
        },
    ),
    "pressure": Kind(
        "Pa",
        "pascal",
        "hPa",
        {
            **_SHARED_PRESSURES,
            "standard_atmosphere": "atm",
            "pound_force_per_square_inch": "psi | psia | lbf/in2",
        },
    ),
    "pressure difference": Kind(
        "Pa",
        "pascal",
        "Pa",
        {
            **_SHARED_PRESSURES,
            "inch_of_water": "inH2O | in H2O | in. H2O | inwc | iwc | in wc | in. wc | in w.c. | in. w.c. | in.w.c."
            " | inwg | iwg | in wg | in. wg | in w.g. | in. w.g. | in.w.g.",
            "inch_of_water_4degC": "inH2O@4°C | inH2O@39.2°F",
            "inch_of_water_60degF": "inH2O@60°F",
            "inch_of_water_20degC": "inH2O@20°C | inH2O@68°F",
            "inch_of_water_70degF": "inH2O@70°F",
            "millimeter_of_water": "mmH2O | mm H2O | mmwc | mm wc | mm w.c. | mmwg | mm wg | mm w.g.",
            "centimeter_of_water": "cmH2O | cm H2O",
            "pound_force_per_square_inch": "psi | psig | psid | lbf/in2",
            "pound_force/foot**2": "lbf/ft2 | psf",
        },
    ),
    "velocity": Kind(
        "m/s",
        "meter/second",
        "m/s",
        {
            "meter/second": "m/s | m*s-1 | m/sec",
            "meter/minute": "m/min",
            "centimeter/second": "cm/s",
            "kilometer/hour": "km/h | kph",
            "foot_per_minute": "fpm | ft/min",
            "foot/second": "ft/s | fps",
            "mile/hour": "mph | mi/h",
            "knot": "kn | kt | knots",
        },
    ),
    "length": Kind(
        "m",
        "meter",
        "mm",
        {
            "meter": "m",
            "centimeter": "cm",
            "millimeter": "mm",
            "micrometer": "µm | micron | microns",
            "nanometer": "nm",
            "kilometer": "km",
            "inch": 'in | in. | inch | inches | " | ″',
            "foot": "ft | ft. | foot | feet | ' | ′",
        },
    ),
    "area": Kind(
        "m2",
        "meter**2",
        "m2",
        {
            "meter**2": "m2 | sq m",
            "centimeter**2": "cm2 | sq cm",
            "millimeter**2": "mm2 | sq mm",
            "inch**2": "in2 | sq in | sq. in.",
            "foot**2": "ft2 | sq ft | sq. ft.",
        },
    ),
    "volume": Kind(
        "m3",
        "meter**3",
        "m3",
        {
            "meter**3": "m3 | cu m",
            "liter": "L | liter | liters | litre | litres",
            "milliliter": "mL",
            "centimeter**3": "cm3 | cc",
            "inch**3": "in3 | cu in | cu. in.",
            "foot**3": "ft3 | cu ft | cu. ft.",
        },
    ),
    "temperature": Kind(
        "K",
        "kelvin",
        "degC",
        {
            "degree_Celsius": "°C | C | ℃",
            "degree_Fahrenheit": "°F | F | ℉",
            "kelvin": "K | kelvin",
        },
        bars=_STEPS,
    ),
    "temperature difference": Kind(
        "K",
        "kelvin",
        "K",
        {
            "kelvin": "K | kelvin | delta K | ΔK",
            "delta_degree_Celsius": "°C | C | ℃ | delta_°C | delta °C | Δ°C",
            "delta_degree_Fahrenheit": "°F | F | ℉ | delta_°F | delta °F | Δ°F",
        },
        bars=_READINGS,
    ),
    "ratio": Kind(
        "1",
        "dimensionless",
        "1",
        {
            "dimensionless": " | 1",
            "percent": "% | percent",
            "parts_per_million": "ppm",
        },
        bars=_SCALES,
    ),
    # A bare 0.41 or 41 is not taken: nobody can tell which of the two was meant.
    "relative humidity": Kind(
        "1",
        "dimensionless",
        "%",
        {
            "percent": "% | %RH | % RH | %rh | % r.h. | percent",
            "dimensionless": "1",
        },
        bars=_SCALES,
    ),
    "angle": Kind(
        "rad",
        "radian",
        "deg",
        {
            "degree": "° | degree | degrees",
            "radian": "rad | radian | radians",
        },
        needs=_TURNING,
    ),
    "density": Kind(
        "kg/m3",
        "kilogram/meter**3",
        "kg/m3",
        {
            "kilogram/meter**3": "kg/m3 | kg*m-3",
            "gram/liter": "g/L",
            "gram/centimeter**3": "g/cm3",
            "pound/foot**3": "lb/ft3 | lbm/ft3 | lb/cu ft | pcf",
        },
    ),
    "viscosity": Kind(
        "Pa s",
        "pascal*second",
        "uPa s",
        {
            "pascal*second": "Pa*s | kg/(m*s) | N*s/m2",
            "millipascal*second": "mPa*s",
            "micropascal*second": "µPa*s",
            "centipoise": "cP",
            "pound/foot/second": "lb/(ft*s) | lbm/(ft*s)",
        },
    ),
    "count": Kind("1", "count", "counts", {"count": "counts | count | 1 | particles | "}, bars=_SCALES),
    "concentration": Kind(
        "1/m3",
        "count/meter**3",
        "1/cm3",
        {
            "count/meter**3": "1/m3 | /m3 | m-3 | counts/m3 | particles/m3 | #/m3",
            "count/centimeter**3": "1/cm3 | /cm3 | cm-3 | counts/cm3 | particles/cm3 | #/cm3 | 1/cc | #/cc",
            "count/liter": "1/L | /L | counts/L | particles/L | #/L",
            "count/deciliter": "counts/0.1 L | particles/0.1 L | #/0.1 L | 1/dL | counts/0.1L | particles/0.1L | "
            "#/0.1L",
            "count/foot**3": "1/ft3 | /ft3 | ft-3 | counts/ft3 | particles/ft3 | #/ft3 | counts/cu ft",
        },
        bars=_SCALES,
    ),
    "mass concentration": Kind(
        "kg/m3",
        "kilogram/meter**3",
        "ug/m3",
        {
            "microgram/meter**3": "µg/m3 | µg*m-3 | mcg/m3",
            "milligram/meter**3": "mg/m3 | mg*m-3",
            "gram/meter**3": "g/m3",
            "kilogram/meter**3": "kg/m3",
        },
    ),
    "mass": Kind(
        "kg",
        "kilogram",
        "g",
        {
            "kilogram": "kg",
            "gram": "g",
            "milligram": "mg",
            "microgram": "µg",
            "tonne": "t | Mg",
            "pound": "lb | lbm | lbs",
            "ounce": "oz",
        },
    ),
    # What is set free in a room: mass or particles a time. Kinds of their own: a mass flow is one of air, a rate one of
    # anything.
    "mass emission": Kind(
        "kg/s",
        "kilogram/second",
        "mg/h",
        {
            "milligram/hour": "mg/h | mg/hr",
            "milligram/minute": "mg/min",
            "milligram/second": "mg/s",
            "microgram/hour": "µg/h | µg/hr",
            "microgram/minute": "µg/min",
            "microgram/second": "µg/s",
            "gram/hour": "g/h | g/hr",
            "kilogram/second": "kg/s",
        },
    ),
    "particle emission": Kind(
        "1/s",
        "count/second",
        "particles/h",
        {
            "count/second": "1/s | particles/s | counts/s | #/s",
            "count/minute": "particles/min | counts/min | #/min | 1/min",
            "count/hour": "particles/h | counts/h | #/h | 1/h | particles/hr",
        },
        bars=_SCALES,
    ),
    "mass per area": Kind(
        "kg/m2",
        "kilogram/meter**2",
        "g/m2",
        {
            "gram/meter**2": "g/m2 | gsm",
            "kilogram/meter**2": "kg/m2",
            "milligram/centimeter**2": "mg/cm2",
            "gram/foot**2": "g/ft2",
            "ounce/foot**2": "oz/ft2",
        },
    ),
    "power": Kind(
        "W",
        "watt",
        "W",
        {
            "watt": "W | watt | watts",
            "milliwatt": "mW",
            "kilowatt": "kW",
            "megawatt": "MW",
            "horsepower": "hp",
            "british_thermal_unit/hour": "Btu/h | Btuh",
        },
        bars=frozenset({"volt_ampere", "kilovolt_ampere"}),
    ),
    "apparent power": Kind(
        "VA",
        "volt_ampere",
        "VA",
        {
            "volt_ampere": "VA | V*A",
            "kilovolt_ampere": "kVA",
        },
        needs=frozenset({"volt_ampere", "kilovolt_ampere", "ampere", "milliampere"}),
    ),
    "power factor": Kind("1", "dimensionless", "1", {"dimensionless": " | 1"}, bars=_SCALES),
    "energy": Kind(
        "J",
        "joule",
        "kWh",
        {
            "joule": "J",
            "millijoule": "mJ",
            "kilojoule": "kJ",
            "megajoule": "MJ",
            "watt_hour": "Wh | W*h",
            "kilowatt_hour": "kWh | kW*h",
            "british_thermal_unit": "Btu",
        },
    ),
    "flow per power": Kind(
        "m3/s/W",
        "meter**3/second/watt",
        "m3/h/W",
        {
            "meter**3/second/watt": "m3/s/W | m3/(s*W) | (m3/s)/W",
            "meter**3/hour/watt": "m3/h/W | m3/(h*W) | (m3/h)/W",
            "liter/second/watt": "L/s/W | L/(s*W) | (L/s)/W",
            "cubic_foot_per_minute/watt": "cfm/W",
        },
    ),
    "power per flow": Kind(
        "W/(m3/s)",
        "watt*second/meter**3",
        "W/(m3/s)",
        {
            "watt*second/meter**3": "W/(m3/s) | W*s/m3",
            "kilowatt*second/meter**3": "kW/(m3/s) | W/(L/s)",
            "watt*hour/meter**3": "W/(m3/h) | W*h/m3",
            "watt/cubic_foot_per_minute": "W/cfm",
        },
    ),
    # The frequency weighting, dB or dB(A), belongs to the quantity and not to the unit (ISO 80000-8, from memory): the
    # field that asks for a level says which one it means.
    "sound level": Kind("dB", "decibel", "dB", {"decibel": "dB | dBA | dB(A) | dB A"}, needs=frozenset({"decibel"})),
    "time": Kind(
        "s",
        "second",
        "min",
        {
            "second": "s | sec | second | seconds",
            "millisecond": "ms",
            "minute": "min | minute | minutes",
            "hour": "h | hr | hrs | hour | hours",
            "day": "d | day | days",
            "week": "week | weeks | wk",
            "month": "month | months | mo",
            "year": "year | years | yr | a",
        },
    ),
    "rate": Kind(
        "1/s",
        "1/second",
        "1/h",
        {
            "1/second": "1/s | /s | s-1",
            "1/minute": "1/min | /min | min-1",
            "1/hour": "1/h | /h | h-1 | 1/hr | /hr | ACH | air changes/h | air changes per hour",
        },
        bars=_TURNING,
    ),
    "frequency": Kind("Hz", "hertz", "Hz", {"hertz": "Hz", "kilohertz": "kHz"}, bars=_TURNING),
    # Revolutions, not radians, per second; only this kind reads 1/min as a speed of turning.
    "rotational speed": Kind(
        "1/s",
        "revolution/second",
        "rpm",
        {
            "revolutions_per_minute": "rpm | 1/min | /min | min-1 | rev/min | r/min",
            "revolution/second": "1/s | /s | s-1 | Hz | rps | rev/s | r/s",
        },
        needs=_TURNING,
    ),
    "voltage": Kind("V", "volt", "V", {"volt": "V | Vac | Vdc | V AC | V DC", "millivolt": "mV", "kilovolt": "kV"}),
    "current": Kind("A", "ampere", "A", {"ampere": "A | amp | amps", "milliampere": "mA"}),
    "resistance": Kind(
        "ohm",
        "ohm",
        "ohm",
        {
            "ohm": "ohm | ohms | \N{GREEK CAPITAL LETTER OMEGA} | \N{OHM SIGN}",
            "milliohm": "mohm | m\N{GREEK CAPITAL LETTER OMEGA} | m\N{OHM SIGN}",
            "kiloohm": "kohm | k\N{GREEK CAPITAL LETTER OMEGA} | k\N{OHM SIGN}",
            "megaohm": "Mohm | M\N{GREEK CAPITAL LETTER OMEGA} | M\N{OHM SIGN}",
        },
    ),
}

# Each currency is a kind of its own: kinds are what may be converted, and a rate of exchange is not a unit's business.
for _code, _signs in CURRENCIES.items():
    _per_hour = " | ".join(f"{sign.strip()}/kWh" for sign in _signs.split("|"))
    _prices = {f"{_code}/kilowatt_hour": _per_hour, f"{_code}/joule": f"{_code}/J"}
    TABLE[f"money {_code}"] = Kind(_code, _code, _code, {_code: _signs})
    TABLE[f"price of energy {_code}"] = Kind(f"{_code}/J", f"{_code}/joule", f"{_code}/kWh", _prices)
    _per_power = {
        f"{_code}/kilowatt": " | ".join(f"{sign.strip()}/kW" for sign in _signs.split("|")),
        f"{_code}/watt": f"{_code}/W",
    }
    TABLE[f"price of power {_code}"] = Kind(f"{_code}/W", f"{_code}/watt", f"{_code}/kW", _per_power)
    _per_air = {f"{_code}/decameter**3": f"{_code}/1000 m3", f"{_code}/meter**3": f"{_code}/m3"}
    TABLE[f"price of air {_code}"] = Kind(f"{_code}/m3", f"{_code}/meter**3", f"{_code}/1000 m3", _per_air)

# An uncertainty is a difference: half a degree of doubt at 20 degC is not 273.65 K.
DIFFERENCES = {"temperature": "temperature difference", "pressure": "pressure difference"}

# Spellings so close to an accepted one that naming the nearest would lead into a wrong number.
REFUSED = dict.fromkeys(
    ("scfm", "scfh", "slpm", "sccm", "sL/min", "Nm3/h", "Nm3/min", "Nm3/s", "NL/min", "Sm3/h"),
    "it is a flow at somebody's reference temperature and pressure, which stands for a mass flow; "
    "give the actual flow, or the mass flow in kg/s",
)
