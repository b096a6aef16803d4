"""A nozzle chamber that leaks between unit and nozzles: out or in, before or after the meter."""

from __future__ import annotations

from dataclasses import dataclass, field

from tests.coverage.rigs import Drawn, Nozzle, Rig, Rng


@dataclass(frozen=True)
class Leaky:
    """A nozzle rig with a leaking chamber, its leak test and the gauge pressure in it.

    Attributes
    ----------
    gauge : float
        True gauge pressure in the chamber, but for up to 4 Pa either way; below 0 under suction. [Pa]
    side : {'downstream', 'upstream'}
        Of the unit, on which the meter is.
    share : float
        Leakage at 50 Pa, over the flow of the meter.
    """

    gauge: float
    side: str
    share: float = 0.05
    nozzle: Nozzle = field(default_factory=lambda: Nozzle(100.0))

    def draw(self, rng: Rng) -> Drawn:
        drawn = self.nozzle.draw(rng)
        record = drawn.record
        # the same manometer as the drop's: its error is shared
        gauge = self.gauge + rng.uniform(-4, 4)
        assert drawn.manometer is not None
        stated, exponent = self.share * drawn.truth, 0.65
        leak = stated * (1 + rng.uniform(-0.2, 0.2))
        true_exponent = exponent + rng.uniform(-0.08, 0.08)
        size = leak * (abs(gauge) / 50) ** true_exponent
        pressure = 100 * float(record["air"]["meter"]["pressure"].split()[0])
        static = float(record["flow"][0]["static"].split()[0])
        # air at the temperature of the meter's: density goes as pressure
        density = (pressure + max(gauge, 0.0)) / (pressure + static)
        sign = (1 if gauge > 0 else -1) * (1 if self.side == "downstream" else -1)
        record["chambers"] = {
            "receiving": {
                "leak": f"{stated:.9f} m3/s ± {0.2 * stated:.9f} m3/s",
                "leak_drop": "50 Pa",
                "leak_exponent": f"{exponent} ± 0.08",
                "pressure": f"{drawn.manometer.show(gauge):.6f} Pa",
            }
        }
        record["flow"][0] |= {"leaks": ["receiving"], "meter_side": self.side}
        return Drawn(record, drawn.truth + sign * size * density)


RIGS: tuple[Rig, ...] = tuple(
    Rig(f"nozzle, leak of 5 % {'out' if gauge > 0 else 'in'}, meter {side}", "normal", Leaky(gauge, side))
    for gauge in (35.0, -35.0)
    for side in ("downstream", "upstream")
)
