"""What can hurt somebody, or mislead him, where cleaners are put into rooms. Printed with every number of units; local
codes and licensed practice come first."""

from __future__ import annotations

from flowrig.methods.cautions import CORD, Caution

PARTICLES_ONLY = Caution(
    "Particles only: no gases, no carbon monoxide, no radon. Cleaning does not replace outdoor air.",
    "US joint fire science record 67749; US EPA (from memory)",
)
NO_HEALTH = Caution(
    "Not a medical device, and no health result follows from any number here; nor is it a certified rating.",
    "scope of IEC PAS 63086-3-1:2023; FDA device rules (from memory)",
)
COMBUSTION = Caution(
    "A unit in a window, or ducted, that blows air out, and leaky supply ducts, can draw flue gas back from open-flued "
    "heaters and fires: carbon-monoxide alarm; tests of it are for trained people.",
    "US EPA guidance on combustion appliances; ASTM guide on backdrafting",
)
OZONE = Caution(
    "No ozone generators in occupied rooms; plain filters rather than ionisers, plasma or open UV.",
    "US AirNow; California Air Resources Board; Washington State Department of Health",
)
CODES = Caution(
    "Outdoor air, ducts, wiring and what a fan of the building can bear: the local code and licensed practice decide.",
    "from memory (local codes)",
)
ATTENDED = Caution(
    "Home-made units are a temporary measure, not left running unattended or while people sleep.",
    "CDC ventilation FAQ, May 2023, as quoted; California Air Resources Board",
)
CHARGE = Caution(
    "Charged filters lose efficiency in use, in smoke fast: plan with the rate that is left.",
    "Atmosphere 2022, 13(10), 1538 (abstract)",
)
ROOM = (PARTICLES_ONLY, NO_HEALTH, COMBUSTION, OZONE, ATTENDED, CORD, CHARGE, CODES)
