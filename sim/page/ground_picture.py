"""A small picture of an obstacle: the ground along the lane with a truck's wheels, and across it at its hardest."""

from __future__ import annotations

import numpy as np
from markupsafe import Markup

from models.spec import Sheet
from terrain.catalog import family_named, make
from terrain.heightfield import sample
from terrain.obstacle import Obstacle
from terrain.yardstick import Yardstick

WIDE, TALL = 220.0, 84.0
GROUND, EDGE, WHEEL = "#b9a583", "#55493d", "#2f3d4a"


def usual_level(family: str, sheet: Sheet) -> tuple[float, str]:
    """Middling level of a family for a truck of this size, and its unit."""
    found = family_named(family)
    levels = found.levels(_size(sheet))
    return float(levels[len(levels) // 2]), found.unit


def ground_picture(family: str, sheet: Sheet) -> Markup:
    """Draw a family at its middling level as an SVG document."""
    level, _ = usual_level(family, sheet)
    size = _size(sheet)
    obstacle = make(family, level, wheelbase=size.wheelbase, tyre_radius=size.tyre_radius, seed=1, scale=sheet.scale)
    lane = obstacle.lane
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(lane, axis=0).T))])
    crux = 0.5 * sum(obstacle.crux)
    half = 1.9 * size.wheelbase
    s = np.linspace(max(0.0, crux - half), min(float(along[-1]), crux + half), 180)
    x, y = (np.interp(s, along, lane[:, k]) for k in (0, 1))
    z = sample(obstacle.ground, x, y)
    k = min(150.0 / (s[-1] - s[0]), 66.0 / (float(np.ptp(z)) + 2.4 * size.tyre_radius))
    level_z = float(z.max()) + 2.2 * size.tyre_radius
    pieces = [_profile((s - s[0]) * k, (level_z - z) * k)]
    for at in (s[0] + 1.2 * size.tyre_radius, s[0] + 1.2 * size.tyre_radius + size.wheelbase):
        near = np.abs(s - at) < size.tyre_radius
        top = float(np.max(z[near] + np.sqrt(size.tyre_radius**2 - (s[near] - at) ** 2)))
        pieces.append(_wheel((at - s[0]) * k, (level_z - top) * k, size.tyre_radius * k))
    pieces += _across(obstacle, lane, along, crux, size)
    return Markup(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE:g} {TALL:g}">{"".join(pieces)}</svg>')


def _across(obstacle: Obstacle, lane: np.ndarray, along: np.ndarray, crux: float, size: Yardstick) -> list[str]:
    """The ground across the lane at the crux, on the right of the picture."""
    x, y = (float(np.interp(crux, along, lane[:, k])) for k in (0, 1))
    dx, dy = (float(np.interp(crux + 1e-3, along, lane[:, k])) - float(np.interp(crux - 1e-3, along, lane[:, k]))
              for k in (0, 1))
    length = float(np.hypot(dx, dy)) or 1.0
    w = np.linspace(-0.6, 0.6, 60) * size.wheelbase
    z = sample(obstacle.ground, x - dy / length * w, y + dx / length * w)
    k = min(52.0 / (w[-1] - w[0]), 60.0 / (float(np.ptp(z)) + 1e-9))
    # Seen from behind: the left side of the lane is on the left.
    return [_profile(WIDE - 30.0 - w * k, 40.0 - (z - float(z.mean())) * k)]


def _profile(x: np.ndarray, y: np.ndarray) -> str:
    line = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))
    return (f'<polygon points="{line} {x[-1]:.1f},{TALL} {x[0]:.1f},{TALL}" fill="{GROUND}"/>'
            f'<polyline points="{line}" fill="none" stroke="{EDGE}" stroke-width="1.5"/>')


def _wheel(x: float, y: float, radius: float) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}" fill="#e6eaee" stroke="{WHEEL}" stroke-width="2"/>'


def _size(sheet: Sheet) -> Yardstick:
    radius = 0.5 * (sheet.tyres.front.outside_diameter_mm + sheet.tyres.rear.outside_diameter_mm) / 2000.0
    return Yardstick(sheet.wheelbase_mm / 1000.0, radius, sheet.scale)
