"""Clips as the page's own player reads them: poses in 16 bits a number, shapes and grounds once each."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from models.massprops import GRAVITY
from sim.replay import camera, scene
from sim.replay.clip import OVER, Actor, Clip, camera_path
from sim.replay.pose import quaternions
from sim.replay.sight import sights

Array = NDArray[np.float64]
DRAWN = (0, 2, 3, 4, 5, 6, 8, 9, 10)
"""Bodies that something is drawn on; the heave arms are bare."""
RATE = 25.0
"""Samples a second in the page; the player blends between them."""
LINES = (150, 44)
"""Grid lines of the page's grounds."""
LONGEST = 40.0
"""s; of a longer trial the page shows the end."""


def page_data(clips: Sequence[Clip], tones: dict[str, str]) -> dict[str, Any]:
    """Everything the player needs, as JSON can hold it."""
    actors: dict[int, int] = {}
    grounds: dict[int, int] = {}
    data: dict[str, Any] = {"actors": [], "grounds": [], "clips": [], "views": _views(), "tones": tones,
                            "over": OVER}
    for clip in clips:
        if id(clip.actor) not in actors:
            actors[id(clip.actor)] = len(data["actors"])
            data["actors"].append(_actor(clip.actor))
        if id(clip.obstacle) not in grounds:
            grounds[id(clip.obstacle)] = len(data["grounds"])
            data["grounds"].append(_ground([one for one in clips if one.obstacle is clip.obstacle], tones))
        made = _clip(clip)
        data["clips"].append({"actor": actors[id(clip.actor)], "ground": grounds[id(clip.obstacle)], **made})
    return data


def packed(values: ArrayLike) -> dict[str, Any]:
    """Array (n, channels) as little-endian 16-bit steps between each channel's ends, base64."""
    a = np.nan_to_num(np.asarray(values, dtype=np.float64), nan=0.0, posinf=1e3, neginf=-1e3)
    low, high = a.min(axis=0), a.max(axis=0)
    span = np.where(high > low, high - low, 1.0)
    steps = np.rint((a - low) / span * 65535.0).astype("<u2")
    return {
        "rows": a.shape[0],
        "low": [float(f"{v:.7g}") for v in low],
        "span": [float(f"{v:.7g}") for v in span],
        "data": base64.b64encode(steps.tobytes()).decode("ascii"),
    }


def unpacked(found: dict[str, Any]) -> Array:
    """Inverse of :func:`packed`, to half a step."""
    low, span = np.array(found["low"]), np.array(found["span"])
    steps = np.frombuffer(base64.b64decode(found["data"]), dtype="<u2").reshape(found["rows"], len(low))
    return np.asarray(low + span * steps / 65535.0)


def samples(clip: Clip) -> NDArray[np.intp]:
    """Indices of the trace samples that the page keeps."""
    every = max(1, round(1.0 / RATE / clip.trace.interval))
    found = np.arange(0, len(clip.trace.time), every)
    return found[-int(LONGEST * RATE) :]


def _views() -> dict[str, list[float]]:
    return {name: [v.azimuth, v.elevation, v.distance, v.lens] for name, v in camera.VIEWS.items()}


def _clip(clip: Clip) -> dict[str, Any]:
    at = samples(clip)
    n = len(at)
    q = quaternions(clip.poses.rotation[at][:, DRAWN])
    bodies = np.concatenate([clip.poses.origin[at][:, DRAWN], q], axis=2).reshape(n, -1)
    trace = clip.trace
    eyes = sights(clip)
    rest = [clip.poses.cg[at], trace.wheel_contact[at].reshape(n, -1), trace.wheel_force[at].reshape(n, -1)]
    margin = clip.shown_margin[at][:, None]
    return {
        "name": clip.actor.name,
        "place": clip.place,
        "repeat": clip.repeat,
        "outcome": clip.outcome,
        "reason": clip.reason,
        "start": float(trace.time[at[0]]),
        "step": float(np.median(np.diff(trace.time[at]))) if n > 1 else 1.0 / RATE,
        "weight": GRAVITY * clip.actor.model.mass,
        "heading": float(clip.obstacle.start.heading),
        "frames": packed(np.concatenate([bodies, *rest, margin, camera_path(clip)[at],
                                         *(eyes[name].elevation[at][:, None] for name in camera.VIEWS)], axis=1)),
        "azimuths": {name: one.azimuth for name, one in eyes.items()},
    }


def _ground(clips: Sequence[Clip], tones: dict[str, str]) -> dict[str, Any]:
    clip, mesh = clips[0], scene.mesh_of(clips, LINES)
    bed = scene.ground(clips, tones, LINES)
    light = np.clip(bed.colours[:, 0] / scene.rgb(tones["rock"])[0] * 160.0, 0.0, 255.0).astype(np.uint8)
    line = scene.finish_line(clip.obstacle, 0.02 * clip.actor.shape.length)
    return {
        "x": np.round(mesh.x, 5).tolist(),
        "y": np.round(mesh.y, 5).tolist(),
        "z": packed(mesh.z.reshape(-1, 1)),
        "light": base64.b64encode(light[: len(light) - len(scene.STRIP)].tobytes()).decode("ascii"),
        "line": np.round(line, 5).tolist(),
        "strip": scene.STRIP.tolist(),
    }


def _actor(who: Actor) -> dict[str, Any]:
    solids = [
        {
            "body": DRAWN.index(s.body),
            "tone": s.tone,
            "inside": inside,
            "v": np.round(s.vertices, 5).ravel().tolist(),
            "f": s.faces.ravel().tolist(),
        }
        for inside, several in ((False, who.shape.solids), (True, who.shape.inside))
        for s in several
        if s.body in DRAWN
    ]
    names = [
        {"text": one.text, "body": DRAWN.index(one.body), "at": np.round(one.at, 5).tolist(), "changed": one.changed}
        for one in who.shape.names
        if one.body in DRAWN
    ]
    rods = [
        {
            "bodies": [DRAWN.index(b) for b in rod.bodies],
            "ends": [np.round(end, 5).tolist() for end in rod.ends],
            "radius": rod.radius,
            "tone": rod.tone,
        }
        for rod in who.shape.rods
    ]
    return {"name": who.name, "length": who.shape.length, "solids": solids, "rods": rods, "names": names}
