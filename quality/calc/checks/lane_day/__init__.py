"""Checks of a lane's days, one a file: a file here with a ``CHECK`` is in use."""
