"""What was true when somebody signed: sealed by a fingerprint, held against today.

The truth is plain JSON in which every number is text with twelve digits: a database
may write a number its own way, and another release of a numeric library may differ in
the last digit, and neither is a change of the record.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

DECIMALS = 9
DIGITS = 12


def frozen(value: Any) -> Any:
    """JSON-ready values with every number as text; ``None`` and words stay.

    Parameters
    ----------
    value
        Mappings, sequences, text, numbers, booleans and None, nested at will.
    """
    if isinstance(value, Mapping):
        return {str(name): frozen(one) for name, one in value.items()}
    if isinstance(value, str) or value is None or isinstance(value, bool):
        return value
    if isinstance(value, Sequence):
        return [frozen(one) for one in value]
    number = float(value)
    if math.isfinite(number):
        number = round(number, DECIMALS) + 0.0
    return f"{number:.{DIGITS}g}"


def plain(value: Any) -> Any:
    """JSON-ready values with numbers as numbers; what is not finite becomes None."""
    if isinstance(value, Mapping):
        return {str(name): plain(one) for name, one in value.items()}
    if isinstance(value, str) or value is None or isinstance(value, bool | int):
        return value
    if isinstance(value, Sequence):
        return [plain(one) for one in value]
    number = float(value)
    return number if math.isfinite(number) else None


def canonical(truth: Any) -> bytes:
    """Canonical JSON: keys sorted, no spaces, UTF-8."""
    return json.dumps(
        truth,
        sort_keys=True,
        separators=(",", ":"),
        ensure_ascii=False,
        allow_nan=False,
    ).encode()


def fingerprint(truth: Any) -> str:
    """SHA-256 of the canonical JSON, in hexadecimal digits."""
    return hashlib.sha256(canonical(truth)).hexdigest()


def differences(then: Any, now: Any, name: str = "") -> list[str]:
    """Where two truths differ, named so that people find the place.

    Parameters
    ----------
    then, now
        Truths as :func:`frozen` makes them. Members of a list that have a ``name`` are
        told by it, others by their place.
    name
        What the two are.

    Returns
    -------
    list of str
        "run 3: axle_weights_kg", "weighing of Truck 1: gone", ...; empty where they
        agree.
    """
    if isinstance(then, Mapping) and isinstance(now, Mapping):
        found = []
        for key in sorted({*then, *now}):
            if then.get(key) != now.get(key):
                found += _inside(then.get(key), now.get(key), name, key)
        return found
    if _is_named(then) and _is_named(now):
        return _members(then, now)
    return [name] if then != now else []


def _inside(then: Any, now: Any, name: str, key: str) -> list[str]:
    """Mappings and lists of named members are looked into; else the key tells it."""
    place = f"{name}: {key}" if name else key
    if isinstance(then, Mapping) and isinstance(now, Mapping):
        return differences(then, now, place)
    if _is_named(then) and _is_named(now):
        return _members(then, now)
    return [place]


def _members(then: Any, now: Any) -> list[str]:
    first = {one["name"]: one for one in then}
    second = {one["name"]: one for one in now}
    found = []
    for name in dict.fromkeys([*first, *second]):
        if name not in second:
            found.append(f"{name}: gone")
        elif name not in first:
            found.append(f"{name}: added")
        elif first[name] != second[name]:
            found += differences(first[name], second[name], name)
    return found


def _is_named(value: Any) -> bool:
    return isinstance(value, list) and all(
        isinstance(one, Mapping) and "name" in one for one in value
    )
