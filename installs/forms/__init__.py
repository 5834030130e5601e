"""Forms of the roadside, one module a part of the work."""

from installs.forms.paper import PaperForm
from installs.forms.records import (
    AcceptForm,
    AnswerInput,
    CloseForm,
    DispositionForm,
    PhotoForm,
    RecordForm,
    RecordLimitForm,
    SignForm,
    StrikeForm,
)
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
    "AcceptForm",
    "AnswerInput",
    "CloseForm",
    "DateInput",
    "DispositionForm",
    "ElectricalTestForm",
    "InstallationEndForm",
    "InstallationForm",
    "LocalTimeField",
    "LocalTimeInput",
    "PaperForm",
    "PhotoForm",
    "ReadingField",
    "RecordForm",
    "RecordLimitForm",
    "RoadsideSearch",
    "SensorForm",
    "SignForm",
    "StrikeForm",
    "TechnologyProfileForm",
    "VisitForm",
]
