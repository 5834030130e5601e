"""What can hurt somebody, by kind of work. Common practice, no source.

The traffic control plan, the maker's instructions, local codes and licensed practice
govern; the panel that prints these lines says so.
"""

from __future__ import annotations

from collections.abc import Iterable

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
BATTERY = (
    "Batteries: acid and gas; goggles and gloves, no flame, no ring or watch, tools "
    "with insulated grips, the negative lead off first and on last. They are heavy: "
    "two people or a lift. After a load test the terminals and the tester are hot."
)
GROUND = (
    "Grounding: with the earth lead off, metal that is safe otherwise can be live; "
    "isolate first, never open it in a storm, and put it back before the power."
)
PESTS = (
    "Pests: wasps, spiders, snakes, rodents and their droppings; stand aside as the "
    "door opens, look before you reach in, mask and gloves for droppings, and leave "
    "nests that fight back to those trained for it."
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

DUST = (
    "Silica dust: it scars the lungs for good. Wet it or draw it off where it is made, "
    "wear the respirator that your site's rules ask for, and never blow it at people."
)
PRESSURE_WASHING = (
    "Pressure washing and compressed air: the jet cuts skin and throws stones; "
    "goggles, gloves and boots, never point it at anybody, bleed the hose before "
    "uncoupling."
)
SOLVENT = (
    "Solvents: they burn, and their vapour dulls the mind; no flame or spark near "
    "them, air moving, gloves that the safety data sheet names, rags into a closed tin."
)
HEAT_COLD = (
    "Heat and cold: water, shade and rest before anybody feels ill; in the cold dry "
    "gloves and a warm place to go. Hot pavement, torches and sealant kettles burn."
)

#: By the names that stage templates use.
BY_KEY: dict[str, str] = {
    "traffic": TRAFFIC,
    "saw": SAW,
    "dust": DUST,
    "pressure_washing": PRESSURE_WASHING,
    "resin": RESIN,
    "solvent": SOLVENT,
    "lifting": LIFTING,
    "electricity": ELECTRICITY,
    "insulation_test": INSULATION_TEST,
    "heat_cold": HEAT_COLD,
    "weather": WEATHER,
    "pits": PITS,
    "battery": BATTERY,
    "ground": GROUND,
    "pests": PESTS,
}


def of_keys(keys: Iterable[str]) -> tuple[str, ...]:
    """The cautions that a stage names, in its order.

    A name that is not known is shown as it is written: nothing that somebody wanted
    said before the work is dropped in silence.
    """
    return tuple(BY_KEY.get(key, key) for key in keys)


ANY_VISIT = (TRAFFIC, ELECTRICITY, PITS, WEATHER)
CABINET = (ELECTRICITY, BATTERY, GROUND, PESTS)
ELECTRICAL_TEST = (TRAFFIC, INSULATION_TEST, ELECTRICITY, WEATHER)
INSTALLATION = (TRAFFIC, SAW, RESIN, LIFTING, ELECTRICITY, WEATHER)
