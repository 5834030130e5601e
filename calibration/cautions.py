"""What can hurt somebody during truck runs. Common practice, no source."""

from __future__ import annotations

from installs.cautions import TRAFFIC, WEATHER

TRUCKS = (
    "Test trucks: load secured and within legal limits, turning places agreed with the "
    "driver, no run faster than the posted speed; the driver stops the work at any "
    "doubt."
)
PHONE = (
    "The driver types nothing. Whoever records the runs stands off the carriageway, "
    "behind the barrier, and watches the traffic first."
)
WEIGHING = (
    "Static weighing: walk round a truck only when the brake is set and the driver "
    "has seen you; keep feet and hands off the platform edges."
)

RUNS = (TRAFFIC, TRUCKS, PHONE, WEATHER)
STATIC = (WEIGHING, TRUCKS)
