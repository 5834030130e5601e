"""Words that the models take their choices from."""

import subprocess
import sys

import pytest

from installs.calc.layout.types import (
    BetweenRows,
    ElementKind,
    SquareMeasure,
    WorkStep,
)


def test_models_can_import_the_words_without_numpy_or_django():
    code = (
        "import sys, installs.calc.layout.types as t; "
        "print([m for m in ('numpy', 'scipy', 'django') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("enum", [BetweenRows, ElementKind, SquareMeasure, WorkStep])
def test_the_stored_word_is_the_word_that_people_read(enum):
    for member in enum:
        assert str(member) == member.value
        assert enum(member.value) is member


def test_what_lies_in_the_lane():
    leading_away = {
        ElementKind.LEAD_IN_SLOT,
        ElementKind.EXIT_HOLE,
        ElementKind.TRENCH,
    }
    assert {kind for kind in ElementKind if not kind.is_in_lane} == leading_away
