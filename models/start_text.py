"""A started sheet as the text of its file: short, in reading order, every value marked measured or assumed."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from models.start import Started

_HEAD = """\
# Started by `cragbench start`. Every value says whether it was measured or assumed (of a part: source for its mass,
# place_source for its place where that differs). "usual" is the range of nineteen of twenty trucks of this scale
# (common practice, no source). Weigh a part, correct its line, and write source = "measured".
# Places: x forward from the rear axle, y left from the middle, z up from the bench, in mm.
# Links, shocks, hull, steering, motor, gears and servo are left out: a typical truck stands in for them. Add
# [axles.front.shock], [motor], [servo], [[hull]] and so on when you know better; `cragbench sheet` lists them.
"""


def text_of(started: Started) -> str:
    """Write the sheet."""
    data, assumed = started.data, set(started.data["assumed"])
    lines = [_HEAD + "schema = 1", f"name = {_value(data['name'])}"]
    lines.append(_marked("scale", data["scale"], "measured"))
    lines.append(_size(started, "wheelbase_mm", "wheelbase_mm", data["wheelbase_mm"], assumed))
    if assumed:
        lines.append(f"assumed = {_value(data['assumed'])}")
    lines += ["", "parts = ["]
    lines += [f"    {_table(part)},  # {_of_part(started, part)}" for part in data["parts"]]
    lines.append("]")
    if data["weighed"]:
        lines += ["", "[weighed]  # measured: the whole truck and its axles on the scale"]
        lines += [f"{key} = {_value(value)}" for key, value in data["weighed"].items()]
    for block in ("axles", "tyres"):
        for end, values in data[block].items():
            lines += ["", f"[{block}.{end}]"]
            lines += [_size(started, f"{block}.{end}.{key}", key, value, assumed) for key, value in values.items()]
    return "\n".join(lines) + "\n"


def _size(started: Started, field: str, key: str, value: float, assumed: set[str]) -> str:
    if field not in assumed:
        return _marked(key, value, "measured")
    usual = started.ranges[field]
    return _marked(key, value, f"assumed, usual {usual.low:g} to {usual.high:g}")


def _marked(key: str, value: Any, mark: str) -> str:
    return f"{f'{key} = {_value(value)}':<32}# {mark}"


def _of_part(started: Started, part: Mapping[str, Any]) -> str:
    usual = started.ranges.get(part["name"])
    return f"usual {usual.low:g} to {usual.high:g} g" if usual is not None else "weighed alone"


def _table(part: Mapping[str, Any]) -> str:
    return "{ " + ", ".join(f"{key} = {_value(value)}" for key, value in part.items()) + " }"


def _value(value: Any) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list):
        return f"[{', '.join(_value(v) for v in value)}]"
    if isinstance(value, float):
        return repr(round(value, 3)).removesuffix(".0")
    return str(value)
