"""How the figures of a day are laid out."""

N_CLASSES = 16
"""Classes 0 (none) to 15."""
SPEED_STEP_KMH = 2.0
N_SPEED_STEPS = 100
SAME_COLUMNS = {"w1": "w1_kg", "speed": "speed_kmh", "s1": "s1_m"}
"""Columns whose repeated values are counted, by their name in the figures."""
