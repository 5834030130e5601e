"""The house style of report figures."""

import matplotlib as mpl
import pytest

from wimprog.lib.figures import (
    caption_n,
    figure_png,
    figure_svg,
    label_axes,
    limit_line,
    new_figure,
    say_no_data,
)


def made():
    figure, (ax,) = new_figure(120, 60)
    ax.plot([0, 1, 2], [0.0, 1.0, -1.0])
    label_axes(ax, x="Week", y="Change, %", title="Drift")
    limit_line(ax, 2.0, "+2 %")
    caption_n(figure, "n 3")
    return figure


def test_the_same_facts_give_the_same_bytes():
    first, second = figure_svg(made()), figure_svg(made())
    assert first == second
    assert b"<dc:date>" not in first


def test_a_figure_has_its_size_on_paper():
    figure, axes = new_figure(127, 50.8, rows=2, columns=3)
    assert tuple(figure.get_size_inches()) == pytest.approx((5.0, 2.0))
    assert len(axes) == 6


def test_axes_and_limits_are_named():
    (ax,) = made().axes
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("Week", "Change, %")
    assert [t.get_text() for t in ax.texts] == ["+2 %"]


def test_the_style_does_not_leak():
    before = dict(mpl.rcParams)
    figure_svg(made())
    assert dict(mpl.rcParams) == before


def test_no_data_is_said_in_the_axes():
    _, (ax,) = new_figure(80, 40)
    say_no_data(ax)
    assert [t.get_text() for t in ax.texts] == ["no data"]


def test_a_png_for_workbooks_and_a_refused_size():
    assert figure_png(made()).startswith(b"\x89PNG")
    with pytest.raises(ValueError, match="greater than zero"):
        new_figure(0, 40)
