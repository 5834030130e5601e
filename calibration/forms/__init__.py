"""Forms of calibration, one module a part of the work."""

from calibration.forms.moments import MomentField
from calibration.forms.runs import ExcludeForm, MatchForm, RunForm, SheetsForm
from calibration.forms.sessions import CloseForm, SessionForm
from calibration.forms.vehicles import StaticWeighingForm, TestVehicleForm

__all__ = [
    "CloseForm",
    "ExcludeForm",
    "MatchForm",
    "MomentField",
    "RunForm",
    "SessionForm",
    "SheetsForm",
    "StaticWeighingForm",
    "TestVehicleForm",
]
