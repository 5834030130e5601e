"""What can hurt somebody, by kind of work. Common practice, no source.

The traffic control plan, the maker's instructions, local codes and licensed practice
govern; the panel that prints these lines says so.
"""

from __future__ import annotations

TRAFFIC = (
    "Traffic: no foot on the carriageway before the traffic control plan is set up "
    "and checked; face the traffic, keep a way out, wear your high-visibility clothing."
)
ELECTRICITY = (
    "Electricity: cabinets hold mains and battery power; isolate, lock, and prove "
    "dead. Work on mains is for licensed electricians."
)
INSULATION_TEST = (
    "Insulation test: up to 500 V on the lead. Disconnect the electronics first, keep "
    "hands off both ends, discharge the lead afterwards. Use no more than the maker "
    "allows for the sensor."
)
WEATHER = (
    "Weather: stop for lightning, ice, fog or heat that the plan does not cover; a "
    "lead is a path for lightning."
)
PITS = (
    "Pits and cabinets: gas, stings and bites; test the air before putting your head "
    "in, lift covers with the proper tool and two people."
)
SAW = (
    "Sawing and breaking out: eyes, ears, feet, and silica dust; cut wet with the "
    "mask that your site's rules ask for, and find buried services first."
)
RESIN = (
    "Grout and resin: skin and lungs; gloves, goggles, air, and the safety data sheet "
    "on site. Leftovers heat up in the tin."
)
LIFTING = (
    "Lifting: plates, frames and covers crush; lifting gear in date, nobody under the "
    "load, fingers out of the frame."
)

ANY_VISIT = (TRAFFIC, ELECTRICITY, PITS, WEATHER)
ELECTRICAL_TEST = (TRAFFIC, INSULATION_TEST, ELECTRICITY, WEATHER)
INSTALLATION = (TRAFFIC, SAW, RESIN, LIFTING, ELECTRICITY, WEATHER)
