"""Records to draw figures of: invented, of the workshop of the Larkspur Flats school district."""

from __future__ import annotations

from pathlib import Path

FAN = """
title = "Box fan, 20 in"
date = 2026-08-10
invented = true
[fan]
figures = "stated"
flow = ["0 m3/h","300 m3/h","500 m3/h","650 m3/h","850 m3/h","1100 m3/h","1400 m3/h","1700 m3/h","2000 m3/h"]
pressure = ["72 Pa","58 Pa","47 Pa","43 Pa","46 Pa","44 Pa","33 Pa","18 Pa","0 Pa"]
power = ["95 W","94 W","94 W","95 W","93 W","90 W","86 W","82 W","79 W"]
power_is = "electrical"
"""
DIP = """
title = "Box fan with a deep stall"
date = 2026-08-10
invented = true
[fan]
figures = "stated"
flow = ["0 m3/h","300 m3/h","500 m3/h","650 m3/h","850 m3/h","1100 m3/h","1400 m3/h","1700 m3/h","2000 m3/h"]
pressure = ["80 Pa","64 Pa","45 Pa","38 Pa","56 Pa","58 Pa","44 Pa","22 Pa","0 Pa"]
flow_limit = "3 %"
pressure_limit = "3 %"
"""
DUCT_FAN = """
title = "Duct fan, 250 mm"
date = 2026-08-10
[fan]
figures = "stated"
flow = ["150 m3/h","300 m3/h","500 m3/h","700 m3/h","900 m3/h"]
pressure = ["240 Pa","225 Pa","180 Pa","110 Pa","25 Pa"]
flow_limit = "5 %"
pressure_limit = "5 %"
"""
MEASURED = """
title = "Box fan on the rig"
date = 2026-08-10
invented = true
[fan]
figures = "measured"
points = "measured.csv"
[air.meter]
temperature = "23 degC ± 0.3 degC"
pressure = "832 hPa ± 1 hPa"
relative_humidity = "31 % ± 3 %"
[instruments.manometer]
measures = "pressure difference"
serial = "DM-0417"
accuracy = "0.5 Pa"
[instruments.hood]
measures = "flow"
serial = "HD-3"
accuracy = "2 % of reading"
[instruments.tachometer]
measures = "rotational speed"
serial = "TA-1"
accuracy = "1 rpm"
"""
POINTS = """setting,flow [m3/h],pressure [Pa],speed [rpm]
low,300,30.1,700
high,400,46.3,1000
high,700,40.2,1003
low,600,18.4,702
high,1100,24.7,1008
high,1500,0.0,1012
low,900,0.0,705
"""
PANEL = """
title = "{title}"
date = 2026-08-10
invented = true
[filter]
figures = "stated"
width = "495 mm"
height = "495 mm"
class = "13"
drop = ["{drop} Pa", "40 Pa", "68 Pa"]
velocity = ["0.5 m/s", "1.0 m/s", "1.5 m/s"]
particles = "1 to 3 um"
efficiency = ["88 %", "85 %"]
efficiency_velocity = ["0.5 m/s", "1.5 m/s"]
efficiency_conditioned = "(50 ± 8) %"
final_drop = "125 Pa"
final_velocity = "1.25 m/s"
"""
CLEANER = """
title = "Four-filter cleaner"
date = 2026-08-24
invented = true
[air.unit]
temperature = "24 degC ± 1 degC"
altitude = "1650 m"
[predict]
fan = "{fan}.toml"
[[filters]]
filter = "panel.toml"
count = {count}
gap_width = "0.3 mm ± 0.2 mm"
"""
GRILLE = """
[[losses]]
name = "grille"
coefficient = "4.0 ± 0.5"
area = "0.12 m2 ± 2 %"
"""
STAGES = """
title = "Duct unit of two stages, $5 & <more> of $6"
date = 2026-08-24
flow_unit = "cfm"
[air.unit]
temperature = "24 degC ± 1 degC"
altitude = "200 m"
[predict]
fan = "duct-fan.toml"
speed_ratio = "90 %"
fans = 2
arrangement = "side by side"
backflow_area = "60 cm2 ± 20 cm2"
[[filters]]
filter = "panel.toml"
[[filters]]
filter = "long.toml"
stage = 2
gap_width = "0.3 mm ± 0.2 mm"
[[losses]]
name = "outlet grille"
coefficient = "1.5 ± 0.5"
area = "0.06 m2 ± 2 %"
"""
SPEEDS = ", ".join(f'"{30 + 1.2 * i:.1f} %"' for i in range(70))
NAMES = ", ".join(f'"trial-{i}.toml"' for i in range(8))
SWEEPS = {
    "count": ("fan", "count = [1, 2, 4]"),
    "two": ("fan", 'count = [1, 2, 3]\nspeed_ratio = ["100 %", "70 %"]'),
    "nowhere": ("duct-fan", 'count = [1, 2, 3, 4]\nspeed_ratio = ["100 %", "60 %"]'),
    "filter": ("fan", 'filter = ["panel.toml", "long.toml", "again.toml"]'),
    "names": ("fan", f"filter = [{NAMES}]"),
    "three": ("fan", 'filter = ["panel.toml", "long.toml"]\nspeed_ratio = ["100 %", "60 %"]\nloaded = ["0 %", "90 %"]'),
    "many": ("fan", f"count = [1, 2, 3, 4, 5, 6, 7, 8]\nspeed_ratio = [{SPEEDS}]"),
}


def written(folder: Path) -> Path:
    """All of them as files."""
    files = {
        "fan": FAN,
        "dip": DIP,
        "duct-fan": DUCT_FAN,
        "panel": PANEL.format(title="Pleated panel 13, 50 mm", drop=18),
        "long": PANEL.format(title="Deep-pleated panel 13, 100 mm, with a rather long name of the trade", drop=16),
        "again": PANEL.format(title="Pleated panel 13, 50 mm", drop=19),
        "measured": MEASURED,
        "simple": CLEANER.format(fan="fan", count=4),
        "crossings": CLEANER.format(fan="dip", count=1).replace('gap_width = "0.3 mm ± 0.2 mm"\n', "") + GRILLE,
        "stages": STAGES,
        "low": CLEANER.format(fan="measured", count=4).replace("[[filters]]", 'setting = "low"\n[[filters]]'),
    }
    for i in range(8):
        files[f"trial-{i}"] = PANEL.format(title=f"Trial panel {i}, {20 + i} mm, of the spring order", drop=14 + i / 2)
    for name, (fan, tried) in SWEEPS.items():
        files[f"sweep-{name}"] = CLEANER.format(fan=fan, count=4) + f"[sweep]\n{tried}\n"
    (folder / "measured.csv").write_text(POINTS, encoding="utf-8")
    for name, text in files.items():
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    return folder
