"""What a phone's clock is off by, and whether two visits are perhaps one."""

from __future__ import annotations

import datetime as dt
import re

#: From here on a phone's clock is told to be off; under it, the way of a message
#: through a weak network explains the difference (common practice, no source).
TOLD_FROM_S = 120.0
#: How long a visit counts as lasting when nobody wrote when the people left
#: (common practice, no source).
USUAL_STAY = dt.timedelta(hours=1)


def clock_skew_s(phone: dt.datetime, server: dt.datetime) -> float:
    """How far the phone's clock is ahead of the server's (behind: negative) [s]."""
    return (phone - server).total_seconds()


def is_told(skew_s: float | None) -> bool:
    """Is the phone's clock so far off that its owner should know?"""
    return skew_s is not None and abs(skew_s) >= TOLD_FROM_S


def span_words(seconds: float) -> str:
    """A span of time in its two largest units, such as ``2 h 5 min``."""
    minutes = round(abs(seconds) / 60)
    days, rest = divmod(minutes, 24 * 60)
    hours, left = divmod(rest, 60)
    if days:
        parts = [f"{days} day{'' if days == 1 else 's'}", f"{hours} h" if hours else ""]
    elif hours:
        parts = [f"{hours} h", f"{left} min" if left else ""]
    else:
        parts = [f"{left} min"]
    return " ".join(part for part in parts if part)


def skew_words(skew_s: float) -> str:
    """Whether the phone's clock is ahead or behind, and by how much."""
    side = "ahead" if skew_s > 0 else "behind"
    return f"your phone’s clock is {span_words(skew_s)} {side}"


def names_in(people: str) -> frozenset[str]:
    """The people of a visit, as names that can be compared.

    Examples
    --------
    >>> sorted(names_in("M. Tarn, b. oake and  M. TARN"))
    ['b. oake', 'm. tarn']
    """
    parts = re.split(r"[,;/&+\n]|\band\b", people.casefold())
    return frozenset(name for part in parts if (name := " ".join(part.split())))


def perhaps_the_same(
    one: tuple[dt.datetime, dt.datetime | None, str],
    other: tuple[dt.datetime, dt.datetime | None, str],
) -> bool:
    """Could two visits to one site be the same visit, typed by two people?

    Parameters
    ----------
    one, other
        Arrival, leaving (None when not written) and people.

    Returns
    -------
    bool
        True when their times overlap and they share somebody.
    """
    began, ended = one[0], one[1] or one[0] + USUAL_STAY
    other_began, other_ended = other[0], other[1] or other[0] + USUAL_STAY
    if ended < other_began or other_ended < began:
        return False
    return bool(names_in(one[2]) & names_in(other[2]))
