"""Draws the invented log of this example, as a logger set to decimal commas writes it.

Run it with `python examples/02-nozzle-log/make_log.py`.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.append(str(Path(__file__).resolve().parents[1]))
import invent

SEED = 202
SECONDS = 360
FLOW = 668.0  # about which the cleaner's flow wanders, the truth [m3/h]
MEMORY = 0.7  # share of one second's swing that is left in the next
SWING = 0.012  # rms over mean
PRESSURE, HUMIDITY = 831.1, 0.24  # [hPa, 1]
THROAT = 0.12507  # nominally 125 mm [m]
COEFFICIENT = 0.997

random = np.random.default_rng(SEED)
push = random.standard_normal(SECONDS) * np.sqrt(1 - MEMORY**2)
swing = np.empty(SECONDS)
swing[0] = random.standard_normal()
for i in range(1, SECONDS):
    swing[i] = MEMORY * swing[i - 1] + push[i]
warmth = 24.6 - 0.9 * np.exp(-np.arange(SECONDS) / 240)  # the workshop warms up, and the air with it [degC]
vapour = HUMIDITY * invent.saturation(24.0)
sensor = 0.3 * random.standard_normal(SECONDS)
thermometer = 0.05 * random.standard_normal(SECONDS)

lines = [
    "Data logger 2, Larkspur Flats maintenance workshop (invented readings)",
    "Channel 1: manometer DM-0417;Channel 2: thermometer TH-22",
    "Interval: 1 s",
    "",
    "Date;Time;P nozzle;T air;Supply",
    ";hh:mm:ss;Pa;°C;V",
]
for i in range(SECONDS):
    rho = invent.density(warmth[i], PRESSURE, vapour)
    flow = FLOW / 3600 * (1 + SWING * swing[i])
    drop = invent.nozzle_drop(flow / COEFFICIENT, [THROAT], rho, PRESSURE, warmth[i])
    shown = drop * invent.MANOMETER_GAIN + 0.1 + sensor[i]
    celsius = warmth[i] + invent.THERMOMETER + thermometer[i]
    clock = f"22:{14 + i // 60}:{i % 60:02d}"
    lines.append(f"11.06.2026;{clock};{shown:.1f};{celsius:.1f};4.9".replace(".", ",").replace("11,06,", "11.06."))
invent.write("log.csv", lines)

print("pressure =", invent.show([PRESSURE + invent.BAROMETER], "hPa", 1))
print("relative_humidity =", invent.show([100 * (vapour / invent.saturation(24.0) + invent.HYGROMETER)], "%", 0))
print(f"Invented truth: {FLOW:.0f} m3/h")
