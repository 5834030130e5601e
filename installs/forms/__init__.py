"""Forms of the roadside, one module a part of the work."""

from installs.forms.road import (
    DateInput,
    ElectricalTestForm,
    InstallationEndForm,
    InstallationForm,
    LocalTimeField,
    LocalTimeInput,
    ReadingField,
    RoadsideSearch,
    SensorForm,
    TechnologyProfileForm,
    VisitForm,
)

__all__ = [
    "DateInput",
    "ElectricalTestForm",
    "InstallationEndForm",
    "InstallationForm",
    "LocalTimeField",
    "LocalTimeInput",
    "ReadingField",
    "RoadsideSearch",
    "SensorForm",
    "TechnologyProfileForm",
    "VisitForm",
]
