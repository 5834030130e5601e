"""Marks: a shape of its own for each word."""

# ruff: noqa: S314 (the XML read here is our own drawing)

import re
import xml.etree.ElementTree as ET

import pytest

from wimprog.lib.judgement import Condition, Verdict
from wimprog.lib.marks import condition_mark_svg, mark_shape

WORDS = [*Condition, *Verdict]


@pytest.mark.parametrize("word", WORDS)
def test_a_mark_is_small_and_hidden_since_its_word_is_beside_it(word):
    root = ET.fromstring(condition_mark_svg(word))
    assert root.get("aria-hidden") == "true"
    assert root.get("width") == root.get("height") == "16"
    assert len(list(root)) >= 1


def test_marks_differ_in_shape_when_all_colours_are_taken_away():
    bare = {
        str(word): re.sub(r' (fill|stroke)="#\w+"', r' \1="x"', mark_shape(word))
        for word in WORDS
    }
    assert len(set(bare.values())) == len(WORDS)


def test_only_colours_of_the_palette_its_grey_and_one_dark_edge():
    allowed = {"#0072B2", "#E69F00", "#D55E00", "#6B6B6B", "#fff", "#8A5F00"}
    used = {c for word in WORDS for c in re.findall(r"#\w+", mark_shape(word))}
    assert used <= allowed


def test_a_plain_word_is_taken_as_the_enum_is():
    assert condition_mark_svg("no data") == condition_mark_svg(Condition.NO_DATA)


def test_an_unknown_word_is_refused_with_the_known_ones():
    with pytest.raises(ValueError, match=r"neither a condition nor a verdict.*sound"):
        condition_mark_svg("<b>fine</b>")
