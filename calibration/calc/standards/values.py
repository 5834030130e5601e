"""Values of a tolerance standard that an agency may set; see the ground floor's module.

Site standards have such values too, so the machinery is
:mod:`wimprog.lib.standard_values`.
"""

from wimprog.lib.standard_values import (
    AGENCYS_OWN,
    CONFIRMED,
    FROM_MEMORY,
    AgencyValues,
    EditableValue,
    ValuesInUse,
)

__all__ = [
    "AGENCYS_OWN",
    "CONFIRMED",
    "FROM_MEMORY",
    "AgencyValues",
    "EditableValue",
    "ValuesInUse",
]
