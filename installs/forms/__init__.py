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
    ElectricalTestForm,
    InstallationEndForm,
    InstallationForm,
    ReadingField,
    RoadsideSearch,
    SensorForm,
    TechnologyProfileForm,
)
from installs.forms.visits import VisitForm

__all__ = [
    "AcceptForm",
    "AnswerInput",
    "CloseForm",
    "DispositionForm",
    "ElectricalTestForm",
    "InstallationEndForm",
    "InstallationForm",
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
