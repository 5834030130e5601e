"""How far a location suits weigh-in-motion, by every site standard there is."""
