"""Forms of sites, lanes and surveys, one module a part of the work."""

from sites.forms.places import (
    DateInput,
    LaneForm,
    PlaceForm,
    ProgramForm,
    SiteAddForm,
    SiteForm,
    SiteStateForm,
)

__all__ = [
    "DateInput",
    "LaneForm",
    "PlaceForm",
    "ProgramForm",
    "SiteAddForm",
    "SiteForm",
    "SiteStateForm",
]
