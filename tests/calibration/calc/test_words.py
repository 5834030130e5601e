"""Words that are kept must be the words that are computed with."""

from calibration.calc.factor_types import FactorMethod
from calibration.calc.words import FactorOrigin


def test_a_kept_origin_names_every_method_that_factors_are_taken_by():
    assert {m.value for m in FactorMethod} == {
        o.value for o in FactorOrigin if o is not FactorOrigin.TYPED
    }
