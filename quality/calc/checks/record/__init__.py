"""Checks of single records, one a file: a file here with a ``CHECK`` is in use."""
