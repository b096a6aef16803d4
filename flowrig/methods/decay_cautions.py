"""What can hurt somebody while particles decay in a closed room. Local codes and licensed practice come first."""

from __future__ import annotations

from flowrig.methods.cautions import CORD, GUARD, LOADED, THROTTLED, UNPLUG, Caution

AEROSOL = Caution(
    "Salt, smoke and incense in a closed room are breathed by whoever is in it: stay out while it decays, wear a "
    "respirator for smoke, air the room afterwards. Nobody with asthma or heart or lung disease takes part.",
    "general laboratory practice (from memory)",
)
FLAME = Caution(
    "Nothing burns unattended; keep smoke alarms and sprinklers in mind, and tell whoever answers them.",
    "general laboratory practice (from memory)",
)
CLOSED = Caution(
    "A room closed for hours needs its open-flued heaters and cookers off, and a carbon-monoxide alarm.",
    "US EPA guidance on combustion appliances",
)
DECAY = (AEROSOL, FLAME, CLOSED, GUARD, UNPLUG, LOADED, THROTTLED, CORD)
