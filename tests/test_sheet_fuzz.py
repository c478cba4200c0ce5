"""Whatever stands in a sheet or change, it is taken or refused with a message: never a traceback."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Callable
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from models import scenario
from models.change import Change
from models.checks import check_sheet
from models.configuration import configure
from models.errors import BuildSheetError
from models.record import validated
from models.sheet import load_sheet
from models.spec import Sheet

BUILD = scenario.builds()[0]
DATA = tomllib.loads(BUILD.read_text(encoding="utf-8"))
SHEET = load_sheet(BUILD)


def _leaves(data: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    if isinstance(data, dict):
        return [leaf for key, value in data.items() for leaf in [(*path, key), *_leaves(value, (*path, key))]]
    if isinstance(data, list):
        return [leaf for key, value in enumerate(data) for leaf in [(*path, key), *_leaves(value, (*path, key))]]
    return []


PLACES = _leaves(DATA)
ODD = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True),
    st.integers(-(10**12), 10**12),
    st.sampled_from([0, 0.0, -0.0, 1, True, "", "x", "\x00\x1b[31m", [], {}, [[]], [0, 0, 0], [1e308] * 3]),
    st.text(max_size=5),
    st.lists(st.floats(), max_size=4),
)


@settings(max_examples=200)
@given(place=st.sampled_from(PLACES), value=ODD, delete=st.booleans())
def test_any_value_anywhere(place: tuple[Any, ...], value: Any, delete: bool) -> None:
    data = copy.deepcopy(DATA)
    holder = data
    for step in place[:-1]:
        holder = holder[step]
    if delete:
        del holder[place[-1]]
    else:
        holder[place[-1]] = value
    message = _refusal(lambda: _configured(data))
    # Two lines for each fault: what and where, and the remedy, which is indented.
    heads = [line for line in message.split("\n") if not line.startswith("  ")]
    assert message.count("\n") <= 2 * len(heads) - 1
    assert all(c.isprintable() or c == "\n" for c in message)


def _configured(data: Any) -> None:
    sheet = validated(Sheet, data)
    check_sheet(sheet)
    configure(sheet)


def _refusal(attempt: Callable[[], object]) -> str:
    """Give the message with which something is refused, empty if it is taken; other exceptions go through."""
    try:
        attempt()
    except BuildSheetError as fault:
        return str(fault)
    return ""


@settings(max_examples=100)
@given(
    key=st.one_of(st.text(max_size=12), st.sampled_from(["parts.battery.at_mm", "hull", "tyres.front.squish", "grip"])),
    value=ODD,
)
def test_any_setting(key: str, value: Any) -> None:
    data = {"schema": 1, "name": "x", "set": {key: value}}
    message = _refusal(lambda: configure(SHEET, [validated(Change, data)]))
    assert all(c.isprintable() or c == "\n" for c in message)
