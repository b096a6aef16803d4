"""A nozzle chamber that leaks between unit and nozzles: out or in, before or after the meter."""

from __future__ import annotations

from dataclasses import dataclass, field

from tests.coverage.rigs import Drawn, Nozzle, Rig, Rng

DROP = 50.0  # of the leak test [Pa]
EXPONENT, EXPONENT_WITHIN = 0.65, 0.08
WITHIN = 0.2  # of a stated leakage


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
        assert drawn.meter is not None
        leak = self.share * drawn.truth * (1 + rng.uniform(-WITHIN, WITHIN))
        exponent = EXPONENT + rng.uniform(-EXPONENT_WITHIN, EXPONENT_WITHIN)
        size = leak * (abs(gauge) / DROP) ** exponent
        pressure = 100 * float(record["air"]["meter"]["pressure"].split()[0])
        static = float(record["flow"][0]["static"].split()[0])
        # air at the temperature of the meter's: density goes as pressure
        density = (pressure + max(gauge, 0.0)) / (pressure + static)
        sign = (1 if gauge > 0 else -1) * (1 if self.side == "downstream" else -1)
        tested = self._tested(rng, self.share * drawn.truth, leak, exponent)
        record["chambers"] = {"receiving": {**tested, "pressure": f"{drawn.meter.show(gauge):.6f} Pa"}}
        record["flow"][0] |= {"leaks": ["receiving"], "meter_side": self.side}
        return Drawn(record, drawn.truth + sign * size * density)

    def _tested(self, rng: Rng, stated: float, leak: float, exponent: float) -> dict[str, str]:
        """What the leak test came to, which true values lie within."""
        return {
            "leak": f"{stated:.9f} m3/s ± {WITHIN * stated:.9f} m3/s",
            "leak_drop": f"{DROP:g} Pa",
            "leak_exponent": f"{EXPONENT} ± {EXPONENT_WITHIN}",
        }


RIGS: tuple[Rig, ...] = tuple(
    Rig(f"nozzle, leak of 5 % {'out' if gauge > 0 else 'in'}, meter {side}", "normal", Leaky(gauge, side))
    for gauge in (35.0, -35.0)
    for side in ("downstream", "upstream")
)
