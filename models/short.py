"""Short sheets: every block that a builder leaves out is filled from a typical truck and listed as assumed.

What must be on a sheet: its scale, the wheelbase, the tyres' diameter and width, the tracks, and the parts. This works
on plain data, before anything is validated; what is there and wrong is left for the validator to say.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping
from typing import Any

from models.key import join
from models.typical import LOADED_RADIUS, Frame, mirrored, tables, usual

Data = dict[str, Any]


def filled(data: Mapping[str, Any]) -> Data:
    """Fill in the blocks that a sheet leaves out, and list their keys under ``assumed``.

    Data that lacks what the filling hangs on comes back as it is.
    """
    frame = frame_of(data)
    if frame is None:
        return dict(data)
    out = copy.deepcopy(dict(data))
    found: list[str] = []
    for number, end in enumerate(("front", "rear")):
        axle = out["axles"][end]
        _put(axle, ("axles", end), {"x_mm": (frame.wheelbase, 0.0)[number]}, found, listed=False)
        if end == "front":
            _put(axle, ("axles", end), _steering(frame), found)
        _put(axle, ("axles", end), {"links": _links(frame, end)}, found)
        _put(axle.setdefault("shock", {}), ("axles", end, "shock"), _shock(frame, end), found)
    for block, names in _BLOCKS.items():
        if block not in out or isinstance(out[block], dict):
            values = {name: usual(f"{block}.{name}", frame.scale) for name in names}
            _put(out.setdefault(block, {}), (block,), values, found)
    if "hull" not in out:
        out["hull"] = hull(frame, out.get("parts", ()))
        found.append("hull")
    assumed = out.get("assumed", [])
    if found and isinstance(assumed, list | tuple):
        out["assumed"] = list(dict.fromkeys([*assumed, *found]))
    return out


_BLOCKS = {
    "motor": ("kv_rpm_per_v", "resistance_ohm", "current_limit_a", "no_load_current_a"),
    "battery": ("voltage_v",),
    "driveline": ("reduction",),
    "servo": ("stall_kgcm", "at_v", "speed_s_per_60deg", "arm_ratio"),
}


def frame_of(data: Mapping[str, Any]) -> Frame | None:
    """The sizes a sheet gives, or None if one is missing or is no length."""
    try:
        scale, wheelbase = float(data["scale"]), float(data["wheelbase_mm"])
        axles, tyres = data["axles"], data["tyres"]
        tracks = [float(axles[end]["track_mm"]) for end in ("front", "rear")]
        hubs = [LOADED_RADIUS * float(tyres[end]["outside_diameter_mm"]) for end in ("front", "rear")]
        portals = [float(axles[end].get("portal_drop_mm", 0.0)) for end in ("front", "rear")]
    except (KeyError, TypeError, ValueError, AttributeError):
        return None
    if not 4 <= scale <= 40 or not all(0.0 < v < 2000.0 for v in (wheelbase, *tracks, *hubs)):
        return None
    if not all(0.0 <= v < 200.0 for v in portals):
        return None
    return Frame(scale, wheelbase, (tracks[0], tracks[1]), (hubs[0], hubs[1]), (portals[0], portals[1]))


def _put(
    table: Any, path: tuple[str, ...], values: Mapping[str, Any], found: list[str], *, listed: bool = True
) -> None:
    if not isinstance(table, dict):
        return
    for key, value in values.items():
        if key not in table:
            table[key] = value
            if listed:
                found.append(join([*path, key]))


def _steering(frame: Frame) -> Data:
    return {name: usual(f"axle.{name}", frame.scale) for name in ("steer_deg", "ackermann", "caster_deg")}


def _links(frame: Frame, end: str) -> list[Data]:
    places, mass = tables()["links"], usual("links.mass_g", frame.scale)
    made = []
    for pair in ("lower", "upper"):
        eyes = {key: places[f"{pair}_{key}"] for key in ("chassis", "axle")}
        for side, sign in (("left", 1.0), ("right", -1.0)):
            ends = {f"{key}_mm": frame.place(_signed(at, sign, end)) for key, at in eyes.items()}
            made.append({"name": f"{pair} {side}", **ends, "mass_g": mass})
    return made


def _signed(at: list[float], sign: float, end: str) -> list[float]:
    place = at if end == "front" else mirrored(at)
    return [place[0], sign * place[1], place[2]]


def _shock(frame: Frame, end: str) -> Data:
    ends = {f"{key}_mm": frame.place(_signed(at, 1.0, end)) for key, at in tables()["shock"].items()}
    values = {name: usual(f"shock.{name}", frame.scale) for name in ("rate_n_per_mm", "bump_mm", "droop_mm", "mass_g")}
    return {**ends, **values}


def hull(frame: Frame, parts: Any) -> list[Data]:
    """Hard shapes of a typical truck, the skins of parts where the sheet puts these."""
    known = parts if isinstance(parts, list | tuple) else ()
    own = {part["name"]: part for part in known if isinstance(part, dict) and isinstance(part.get("name"), str)}
    made = []
    for entry in [*(p for p in tables()["part"] if p.get("skin")), *tables()["hull"]]:
        size = list(entry["size"])
        size[1] = entry.get("skin_width", size[1])
        shape: Data = {"name": entry["name"], "body": entry.get("body", "chassis"), "shape": entry.get("shape", "box")}
        shape["at_mm"], shape["size_mm"] = frame.place(entry["at"]), frame.size(size, entry["at"][0])
        part = own.get(entry["name"])
        if part is not None and part.get("body", "chassis") == shape["body"]:
            shape["at_mm"] = part.get("at_mm", shape["at_mm"])
            if part.get("shape", "box") == shape["shape"] and "skin_width" not in entry:
                shape["size_mm"] = part.get("size_mm", shape["size_mm"])
        made.append(shape)
    return made
