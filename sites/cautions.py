"""What can hurt somebody who measures at the road. Common practice, no source.

The traffic control plan, the maker's instructions, local codes and licensed practice
govern; the panel that prints these lines says so.
"""

from __future__ import annotations

TRAFFIC = (
    "Traffic: measure from behind the edge line, from plans, or from a moving profiler "
    "where you can. No foot, tape or straightedge in a lane before the traffic control "
    "plan is set up and checked."
)
LOOK_OUT = (
    "Look-out: nobody measures alone. One person watches the traffic and does nothing "
    "else; agree on the warning and the way out before the first reading."
)
PARKING = (
    "Parking: leave the road where your vehicle stands clear and can be seen; lights "
    "on, high-visibility clothing before the door opens, out on the side away from "
    "traffic."
)
CURVES = (
    "Sight: stay off curves, crests and bridges where a driver cannot stop in the "
    "distance that he sees you; not at night, in fog, on ice."
)
LINES = (
    "Lines: keep rods, masts and tapes away from overhead lines; nobody digs, drives a "
    "stake or cores before buried services are marked."
)
EDGES = (
    "Edges and ditches: slopes, water, snakes and stings; test the ground before you "
    "put weight on it, and leave covers shut."
)

SURVEY = (TRAFFIC, LOOK_OUT, PARKING, CURVES, LINES, EDGES)
