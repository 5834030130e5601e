"""Pages of calibration."""
