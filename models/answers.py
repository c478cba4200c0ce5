"""What a first build sheet is made from: twelve questions, each with its unit, and their answers.

Answers come as the builder writes them: ``160``, ``"160 mm"``, ``"6.3 in"``, ``"1/18"``, ``"104 / 100"`` for front and
rear. Bare lengths are millimetres and bare masses grams. All may be left out but the scale.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, cast

from models.bench.quantity import read
from models.errors import BuildSheetError

_BARE = {"mass": "g", "length": "mm"}
Where = Literal["front", "middle", "rear"]


@dataclass(frozen=True)
class Question:
    """One thing to ask for."""

    key: str
    words: str
    hint: str
    usual: str | None = None
    """Key of the usual figure that is taken where there is no answer."""


QUESTIONS: tuple[Question, ...] = (
    Question("scale", "Scale", "1/24, 1/18, 1/10 or between"),
    Question("wheelbase", "Wheelbase, axle to axle", "mm", "size.wheelbase_mm"),
    Question("track", "Track, middle of tyre to middle of tyre", "mm; front / rear if they differ", "size.track_mm"),
    Question("tyre_diameter", "Tyre diameter, unloaded", "mm; front / rear if they differ", "size.tyre_diameter_mm"),
    Question("tyre_width", "Tyre width", "mm", "size.tyre_width_mm"),
    Question("mass", "Whole truck on the scale, pack in", "g", "size.mass_g"),
    Question("front", "Front wheels on the scale, rear ones on a block as high", "g"),
    Question("rear", "Rear wheels on the scale, front ones on the block", "g"),
    Question("left", "Left wheels on the scale, right ones on the block", "g; Enter if not weighed"),
    Question("battery", "Battery pack alone", "g", "size.battery_g"),
    Question("battery_at", "Middle of the pack, ahead of the rear axle", "mm, or front, middle, rear"),
    Question("weighed", "Other parts weighed alone", "servo 11, motor 16, front wheel 14; Enter if none"),
)


@dataclass(frozen=True)
class Answers:
    """Answers, in the units of the sheet; what is None was not measured."""

    name: str
    scale: float
    wheelbase_mm: float | None = None
    track_mm: tuple[float, float] | None = None
    tyre_diameter_mm: tuple[float, float] | None = None
    tyre_width_mm: tuple[float, float] | None = None
    total_g: float | None = None
    front_g: float | None = None
    rear_g: float | None = None
    left_g: float | None = None
    battery_g: float | None = None
    battery_at: float | Where | None = None
    portal_drop_mm: float | None = None
    weighed_g: Mapping[str, float] = field(default_factory=dict)
    """By name; of a pair, one."""
    notes: tuple[str, ...] = ()


def answers_of(name: str, given: Mapping[str, Any]) -> Answers:
    """Read the answers to :data:`QUESTIONS`, by their keys; ``portal_drop`` and a table ``weighed`` may be there too.

    :raises BuildSheetError: an unknown key, or an answer that is none.
    """
    known = [question.key for question in QUESTIONS] + ["portal_drop", "name"]
    for key in given:
        if key not in known:
            raise BuildSheetError("nothing of this name is asked.", remedy=f"Known: {', '.join(known)}.", field=key)
    some = {key: value for key, value in given.items() if value not in (None, "")}
    if "scale" not in some:
        raise BuildSheetError("the scale is needed.", remedy="Write it like 1/18.", field="scale")
    total, front, rear, notes = _loads(*(_one(some, key, "mass") for key in ("mass", "front", "rear")))
    left = _one(some, "left", "mass")
    if left is not None and total is None:
        raise BuildSheetError("the left wheels say nothing without the whole truck.", remedy="Give mass too.",
                              field="left", value=some["left"])  # fmt: skip
    if left is not None and total is not None and not 0.3 < left / total < 0.7:
        raise BuildSheetError(f"that is {100 * left / total:.0f} % of the truck.",
                              remedy="Both left wheels stand on the scale together; check the unit.", field="left",
                              value=some["left"])
    return Answers(
        name=name, scale=read_scale(some["scale"]),
        wheelbase_mm=_one(some, "wheelbase", "length"), track_mm=_pair(some, "track"),
        tyre_diameter_mm=_pair(some, "tyre_diameter"), tyre_width_mm=_pair(some, "tyre_width"),
        total_g=total, front_g=front, rear_g=rear, left_g=left,
        battery_g=_one(some, "battery", "mass"), battery_at=_where(some.get("battery_at")),
        portal_drop_mm=_one(some, "portal_drop", "length"), weighed_g=_weighed(some.get("weighed", {})), notes=notes,
    )  # fmt: skip


def read_scale(value: Any) -> float:
    """Read ``1/18``, ``1:18`` or ``18``.

    :raises BuildSheetError: it is none, or no scale of these trucks.
    """
    found = re.fullmatch(r"\s*(?:1\s*[/:]\s*)?(\d+(?:\.\d+)?)(?:\s*th)?\s*", str(value))
    scale = float(found[1]) if found else 0.0
    if not 4 <= scale <= 40:
        raise BuildSheetError("is no scale of these trucks.", remedy="Write it like 1/18.", field="scale", value=value)
    return scale


def _loads(
    total: float | None, front: float | None, rear: float | None
) -> tuple[float | None, float | None, float | None, tuple[str, ...]]:
    """Whole truck and axle loads; the third follows from two, and three must agree."""
    for load, which in ((front, "front"), (rear, "rear")):
        if load is not None and total is not None and not 0.15 < load / total < 0.85:
            raise BuildSheetError(f"the {which} axle would carry {100 * load / total:.0f} % of the truck.",
                                  remedy="Both wheels of the axle stand on the scale together; check the unit.",
                                  field=which, value=f"{load:g} g")
    if front is None or rear is None:
        if total is None or (front is None and rear is None):
            return total, None, None, ()
        front = total - rear if front is None and rear is not None else front
        assert front is not None
        return total, front, total - front, ()
    whole = front + rear
    if total is None or abs(whole - total) <= 1e-9 * total:
        return whole, front, rear, ()
    if abs(whole - total) > 0.02 * total:
        raise BuildSheetError(f"front and rear sum to {whole:g} g, the whole truck is {total:g} g.",
                              remedy="Weigh again, the block as high as the scale and nothing leaning on the truck.",
                              field="mass", value=f"{total:g} g")
    return whole, front, rear, (
        f"front and rear sum to {whole:g} g, the whole truck was {total:g} g: the sheet goes by the axle loads",
    )


def _number(key: str, value: Any, kind: Literal["mass", "length"]) -> float:
    text = str(value).strip()
    if not re.search(r"\d", text):
        raise BuildSheetError("is no number.", remedy=f"Write it like 160 or 160 {_BARE[kind]}.", field=key,
                              value=value)  # fmt: skip
    number = 1000.0 * read(kind, text, key, _BARE)
    if not 0.0 < number < 20_000.0:
        raise BuildSheetError("is out of reach.", remedy=f"Write it in {_BARE[kind]}.", field=key, value=value)
    return round(number, 3)


def _one(given: Mapping[str, Any], key: str, kind: Literal["mass", "length"]) -> float | None:
    return _number(key, given[key], kind) if key in given else None


def _pair(given: Mapping[str, Any], key: str) -> tuple[float, float] | None:
    if key not in given:
        return None
    value = given[key]
    pieces = list(value) if isinstance(value, list | tuple) else str(value).split("/")
    if len(pieces) not in (1, 2):
        raise BuildSheetError("is one length, or front / rear.", field=key, value=value)
    numbers = [_number(key, piece, "length") for piece in pieces]
    return numbers[0], numbers[-1]


def _where(value: Any) -> float | Where | None:
    if value is None:
        return None
    if str(value).strip().lower() in ("front", "middle", "rear"):
        return cast(Where, str(value).strip().lower())
    text = str(value).strip()
    # The pack's middle may hang behind the rear axle.
    return -_number("battery_at", text[1:], "length") if text.startswith("-") else _number("battery_at", text, "length")


def _weighed(value: Any) -> dict[str, float]:
    """``servo 11 g, motor 16`` or a table."""
    if isinstance(value, Mapping):
        return {str(name): _number(f"weighed.{name}", mass, "mass") for name, mass in value.items()}
    found = {}
    for piece in str(value).split(","):
        match = re.fullmatch(r"\s*([A-Za-z][A-Za-z _-]*?)\s*[:=]?\s*(\d.*?)\s*", piece)
        if match is None:
            raise BuildSheetError("is not a part and its mass.", remedy="Write them like: servo 11 g, motor 16 g.",
                                  field="weighed", value=piece.strip())  # fmt: skip
        found[match[1]] = _number(f"weighed.{match[1]}", match[2], "mass")
    return found
