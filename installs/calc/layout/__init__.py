"""The array in the lane: squareness, spacing, drawing, quantities, cure."""
