"""Checks of two lanes, one a file: a file here with a ``CHECK`` is in use."""
