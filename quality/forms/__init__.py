"""Forms of the records' side."""

from quality.forms.held_days import HeldDaysForm, UndoForm
from quality.forms.importing import MAPPED, UNITS, DecisionForm, MappingForm, UploadForm

__all__ = [
    "MAPPED",
    "UNITS",
    "DecisionForm",
    "HeldDaysForm",
    "MappingForm",
    "UndoForm",
    "UploadForm",
]
