"""The demo's invented agency: causes are simulated, results follow from them."""
