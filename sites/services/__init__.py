"""Changes of sites, lanes and surveys, one module a part of the work."""

from sites.services.places import (
    lane_save,
    program_save,
    site_from_records,
    site_save,
    site_set_state,
)

__all__ = [
    "lane_save",
    "program_save",
    "site_from_records",
    "site_save",
    "site_set_state",
]
