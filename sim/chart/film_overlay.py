"""What is drawn over a moment of a film: contact patches, loads, support polygon, centre of gravity."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from PIL import ImageDraw, ImageFont

from models.massprops import GRAVITY
from models.vector import Vector
from sim.chart import style
from sim.replay.camera import Camera
from sim.replay.clip import Clip

LIFTED = 0.01
"""Share of the weight below which a wheel counts as lifted."""
ARROW = 0.9
"""Wheelbases of arrow for a load as large as the truck's weight."""


def draw_moment(pen: ImageDraw.ImageDraw, eye: Camera, clip: Clip, sample: int, fine: int) -> None:
    """Draw on a picture taken by ``eye`` that is ``fine`` times as large as it will be shown."""
    feet, loads = clip.trace.wheel_contact[sample], clip.trace.wheel_force[sample]
    weight = GRAVITY * clip.actor.model.mass
    spots = eye.project(feet)
    _dashes(pen, [tuple(spots[i, :2]) for i in (0, 1, 3, 2, 0)], style.SCENE["support"], 2 * fine)
    for foot, load, spot in zip(feet, loads, spots, strict=True):
        share = float(np.linalg.norm(load)) / weight
        radius = fine * (4.0 if share <= LIFTED else 2.5 + 4.5 * share**0.5)
        end = eye.project((foot + load / weight * ARROW * clip.actor.shape.length)[None])[0]
        if share > LIFTED:
            _arrow(pen, spot[:2], end[:2], style.SCENE["load"], fine)
        inside = style.SCENE["load"] if share > LIFTED else None
        _disc(pen, spot, radius, inside, "white", fine)
    cg = clip.poses.cg[sample]
    down = np.array([cg[0], cg[1], float(feet[:, 2].mean())])
    top, foot_spot = eye.project(np.stack([cg, down]))
    _dashes(pen, [tuple(top[:2]), tuple(foot_spot[:2])], style.INK, 2 * fine)
    radius = 8.0 * fine
    _disc(pen, top, radius, "white", style.INK, fine)
    box = (top[0] - radius, top[1] - radius, top[0] + radius, top[1] + radius)
    for start in (0, 180):
        pen.pieslice(box, start, start + 90, fill=style.INK)


def draw_names(pen: ImageDraw.ImageDraw, eye: Camera, clip: Clip, sample: int, letters: ImageFont.FreeTypeFont) -> None:
    """Write the names of the parts that the picture is about beside it, each with a line to its part."""
    rotation, origin = clip.poses.rotation[sample], clip.poses.origin[sample]
    spots = [eye.project((rotation[one.body] @ one.at + origin[one.body])[None])[0] for one in clip.actor.shape.names]
    middle = eye.centre[0]
    step = 1.25 * float(letters.size)
    labels = []
    for side in (-1, 1):
        mine = [(spot, one) for spot, one in zip(spots, clip.actor.shape.names, strict=True)
                if (spot[0] >= middle) == (side > 0) and spot[2] > 0.0]
        mine.sort(key=lambda pair: float(pair[0][1]))
        y = eye.centre[1] - 0.5 * step * len(mine)
        for spot, one in mine:
            x = middle + side * 0.96 * middle
            tone = style.FAILED if one.changed else style.INK
            box = pen.textbbox((x, y), one.text, font=letters, anchor="rm" if side > 0 else "lm")
            start = (box[0] - 4 if side > 0 else box[2] + 4, y)
            pen.line([start, (float(spot[0]), float(spot[1]))], fill=tone, width=2)
            labels.append((box, (x, y), one.text, tone, "rm" if side > 0 else "lm"))
            y += step
    for box, at, text, tone, anchor in labels:  # over all lines: one to a part beyond would strike a name through
        pen.rectangle((box[0] - 4, box[1] - 2, box[2] + 4, box[3] + 2), fill="white")
        pen.text(at, text, font=letters, fill=tone, anchor=anchor)


def _disc(pen: ImageDraw.ImageDraw, at: Vector, radius: float, inside: str | None, edge: str, fine: int) -> None:
    box = (at[0] - radius, at[1] - radius, at[0] + radius, at[1] + radius)
    pen.ellipse(box, fill=inside, outline=edge, width=2 * fine)


def _arrow(pen: ImageDraw.ImageDraw, start: Vector, end: Vector, colour: str, fine: int) -> None:
    along = end - start
    size = float(np.linalg.norm(along))
    if size < 1.0:
        return
    unit, head = along / size, 9.0 * fine
    side = np.array([-unit[1], unit[0]])
    for tone, width in (("white", 6), (colour, 3)):
        pen.line([tuple(start), tuple(end)], fill=tone, width=width * fine)
    corners = [end + unit * head, end + 0.6 * head * side, end - 0.6 * head * side]
    pen.polygon([tuple(c) for c in corners], fill=colour)


def _dashes(pen: ImageDraw.ImageDraw, points: list[tuple[float, ...]], colour: str, width: int) -> None:
    for a, b in pairwise(points):
        p, q = np.array(a), np.array(b)
        count = max(2, int(np.linalg.norm(q - p) / (5.0 * width)))
        for k in range(0, count, 2):
            ends = [tuple(p + (q - p) * share) for share in (k / count, min(1.0, (k + 1) / count))]
            pen.line(ends, fill="white", width=2 * width)
            pen.line(ends, fill=colour, width=width)
