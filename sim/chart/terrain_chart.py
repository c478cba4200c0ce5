"""One obstacle before it is driven: shaded plan, slope map, side view along the lane with the truck to scale."""

from __future__ import annotations

import math
import textwrap
import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon, Rectangle
from scipy.spatial import ConvexHull

from models.rigid import RigidModel
from models.vector import Vector
from sim.chart.relief import lit, paint_relief
from terrain.gates import Gate
from terrain.heightfield import Heightfield, sample
from terrain.obstacle import Obstacle

LANE, TRUCK, INK = "#b3261e", "#1f4e79", "#222222"
STEEP = LinearSegmentedColormap.from_list("steep", ["#f4f1ea", "#e8c26a", "#c2592b", "#3b0f2b"])
MOST_PIXELS = 1600
SHORT = 3
"""Letters of a gate's name that has room beside its gate."""


@dataclass(frozen=True)
class SideView:
    """A truck seen from its right side, for scale: m, x forward from the rear axle, z up from the ground."""

    wheelbase: float
    tyre_radius: float
    outlines: tuple[Vector, ...] = ()
    """Closed (n, 2) x, z outlines of hull parts; none draws a plain box."""

    @staticmethod
    def of(model: RigidModel) -> SideView:
        """Side view of a truck: the outline of every hull part, tyres round."""
        origins = model.origins()[model.hull.body]
        points = np.concatenate([origins + model.hull.p_tip, origins + model.hull.p_root])[:, [0, 2]]
        part = np.tile(model.hull.part, 2)
        outlines = []
        for k in range(len(model.hull.names)):
            own = np.unique(np.round(points[part == k], 6), axis=0)
            if len(own) > 2 and np.linalg.matrix_rank(own - own[0], tol=1e-5) == 2:
                outlines.append(own[ConvexHull(own).vertices])
        return SideView(model.wheelbase, float(max(model.tyres[0].row_radius)), tuple(outlines))

    def shapes(self) -> tuple[Vector, ...]:
        """Outlines to draw."""
        if self.outlines:
            return self.outlines
        r, wb = self.tyre_radius, self.wheelbase
        return (np.array([[-0.3 * r, 1.1 * r], [wb + 0.3 * r, 1.1 * r], [wb + 0.2 * r, 2.2 * r], [-0.2 * r, 2.2 * r]]),)


def draw_obstacle(obstacle: Obstacle, path: Path, *, truck: SideView, gates: tuple[Gate, ...] = ()) -> None:
    """Draw the obstacle, and the gates of a course, to a PNG or SVG file (by the suffix)."""
    figure = obstacle_chart(obstacle, truck, gates)
    with warnings.catch_warnings():
        # A name in a script that the font lacks is drawn with boxes; that is no news to whoever typed it.
        warnings.filterwarnings("ignore", "Glyph .* missing from font")
        metadata = {"Date": None} if path.suffix.lower() == ".svg" else None
        figure.savefig(path, dpi=120, bbox_inches="tight", metadata=metadata)


def obstacle_chart(obstacle: Obstacle, truck: SideView, gates: tuple[Gate, ...] = ()) -> Figure:
    """The drawing itself; a picture of it is cut or grown to what is drawn."""
    x_min, x_max, y_min, y_max = obstacle.ground.extent
    width = 11.0
    plan = float(np.clip(width * (y_max - y_min) / (x_max - x_min), 1.2, 7.0))
    drop = float(np.ptp(obstacle.ground.z)) + 3.0 * truck.tyre_radius
    side = float(np.clip(width * drop / (x_max - x_min), 1.4, 7.0))
    relief = float(np.clip(0.8 * plan + 0.6 * side + 1.0, 2.2, 6.0))
    heights = [relief, plan, plan, side]
    figure = Figure(figsize=(width, sum(heights) + 1.8), facecolor="white", layout="compressed")
    FigureCanvasAgg(figure)
    view, shaded, slopes, profile = figure.subplots(4, 1, height_ratios=heights)
    figure.suptitle(_title(obstacle), color=INK, fontsize=13).set_parse_math(False)
    paint_relief(view, obstacle)
    _plan(shaded, obstacle, gates)
    _slope_map(figure, slopes, obstacle)
    _side(profile, obstacle, truck)
    for axes in (shaded, slopes, profile):
        axes.set_anchor("W")
    if _numbered(gates):
        _name_gates(profile, gates)
    return figure


def _plain(text: str) -> str:
    """A name from a file as it can be drawn: one line, control characters shown as such."""
    return "".join(c if c.isprintable() else "�" for c in text)[:80]


def _title(obstacle: Obstacle) -> str:
    name = _plain(obstacle.family)
    rough = obstacle.detail.get("roughness_mm")
    texture = "" if not rough else f"   roughness {rough:.2g} mm rms"
    scaling = obstacle.detail.get("built_per_full_size")
    shrunk = "" if scaling is None else f"   built at 1:{1.0 / scaling:.1f} of the published size"
    level = f" {obstacle.level:g} {obstacle.unit}" if obstacle.unit else ""
    return f"{name}{level}{texture}{shrunk}"


def _thinned(ground: Heightfield) -> tuple[Vector, float]:
    """Every k-th node and its spacing, so that a large yard fits the picture."""
    k = max(1, math.ceil(max(ground.z.shape) / MOST_PIXELS))
    return ground.z[::k, ::k], k * ground.spacing


def _image_extent(ground: Heightfield) -> tuple[float, float, float, float]:
    """Pixel edges, mm: half a cell beyond the outer nodes."""
    half = 0.5 * ground.spacing
    x_min, x_max, y_min, y_max = ground.extent
    return 1e3 * (x_min - half), 1e3 * (x_max + half), 1e3 * (y_min - half), 1e3 * (y_max + half)


def _plan(axes: Axes, obstacle: Obstacle, gates: tuple[Gate, ...]) -> None:
    z, spacing = _thinned(obstacle.ground)
    axes.imshow(
        lit(z, (spacing, spacing)).transpose(1, 0, 2)[::-1], extent=_image_extent(obstacle.ground), aspect="equal"
    )
    _mark_lane(axes, obstacle)
    for number, gate in enumerate(gates, 1):
        left, right = 1e3 * gate.markers()
        label = "gate" if gate is gates[0] else None
        axes.plot(*zip(left, right, strict=True), "-o", color="#f2a900", mec="#222222", ms=4, lw=0.8, label=label)
        word = f"{number}" if _numbered(gates) else _plain(gate.name)
        note = axes.annotate(word, left, xytext=(3, 1), textcoords="offset points", fontsize=8)
        note.set_parse_math(False)
    axes.set_title("Plan", loc="left", fontsize=10, color=INK)
    axes.tick_params(labelbottom=False)  # the map under it has the same axis, and its title stands there
    axes.set_ylabel("y, mm (left up)")
    axes.legend(loc="upper left", bbox_to_anchor=(1.005, 1.0), fontsize=8, frameon=False)


def _numbered(gates: tuple[Gate, ...]) -> bool:
    """Whether gates carry numbers: their names then stand under the drawing, as they would lie over one another."""
    return any(len(gate.name) > SHORT for gate in gates)


def _name_gates(axes: Axes, gates: tuple[Gate, ...]) -> None:
    names = "   ".join(f"{number}\u00a0{_plain(gate.name)}" for number, gate in enumerate(gates, 1))
    lines = textwrap.fill(f"Gates: {names}", 150)
    axes.annotate(lines, (0.0, 0.0), (0, -42), xycoords="axes fraction", textcoords="offset points", fontsize=8,
                  va="top", color=INK).set_parse_math(False)  # fmt: skip


def lane_points(obstacle: Obstacle, spacing: float) -> tuple[Vector, Vector]:
    """Vector (n, 2) along the lane about ``spacing`` m apart and their distance (n,) along it, m."""
    steps = np.hypot(*np.diff(obstacle.lane, axis=0).T)
    at = np.concatenate([[0.0], np.cumsum(steps)])
    s = np.linspace(0.0, at[-1], max(2, math.ceil(at[-1] / spacing) + 1))
    return np.column_stack([np.interp(s, at, obstacle.lane[:, k]) for k in (0, 1)]), s


def _mark_lane(axes: Axes, obstacle: Obstacle) -> None:
    lane, s = lane_points(obstacle, obstacle.ground.spacing)
    along = np.gradient(lane, axis=0)
    left = np.column_stack([-along[:, 1], along[:, 0]]) / np.maximum(np.hypot(*along.T), 1e-12)[:, None]
    axes.plot(*(1e3 * lane.T), color=LANE, lw=1.2, label="lane")
    for side in (-1.0, 1.0):
        edge = 1e3 * (lane + side * obstacle.lane_half_width * left)
        axes.plot(*edge.T, color=LANE, lw=0.7, ls=(0, (4, 3)), label="lane edge" if side > 0 else None)
    end = int(np.searchsorted(s, obstacle.finish_s))
    if end < len(s):
        line = 1e3 * np.array([lane[end] + k * obstacle.lane_half_width * left[end] for k in (-1.0, 1.0)])
        axes.plot(*line.T, color="#1b6e3c", lw=2.2, label="finish (CG)")
    axes.plot(1e3 * obstacle.start.x, 1e3 * obstacle.start.y, "o", color=TRUCK, ms=5, label="start (rear axle)")
    axes.set_xlim(*_image_extent(obstacle.ground)[:2])
    axes.set_ylim(*_image_extent(obstacle.ground)[2:])


def slope_map(ground: Heightfield) -> Vector:
    """Slope of every cell, (nx - 1, ny - 1), deg: steepest line of the bilinear cell at its middle."""
    z = ground.z
    dzdx = 0.5 * (z[1:, :-1] - z[:-1, :-1] + z[1:, 1:] - z[:-1, 1:]) / ground.spacing
    dzdy = 0.5 * (z[:-1, 1:] - z[:-1, :-1] + z[1:, 1:] - z[1:, :-1]) / ground.spacing
    return np.asarray(np.degrees(np.arctan(np.hypot(dzdx, dzdy))))


def _slope_map(figure: Figure, axes: Axes, obstacle: Obstacle) -> None:
    z, spacing = _thinned(obstacle.ground)
    slope = slope_map(Heightfield.of(z, obstacle.ground.origin, spacing))
    picture = axes.imshow(
        slope.T[::-1], extent=_image_extent(obstacle.ground), cmap=STEEP, vmin=0.0, vmax=90.0, aspect="equal"
    )
    axes.set_title("Slope", loc="left", fontsize=10, color=INK)
    axes.set_ylabel("y, mm")
    # Beside the map, not out of its width: plan and map then stand one under the other.
    bar = axes.inset_axes((1.01, 0.0, 0.015, 1.0))
    figure.colorbar(picture, cax=bar, label="deg", ticks=[0, 30, 60, 90])


def _side(axes: Axes, obstacle: Obstacle, truck: SideView) -> None:
    lane, s = lane_points(obstacle, 0.5 * obstacle.ground.spacing)
    z = sample(obstacle.ground, lane[:, 0], lane[:, 1])
    low = float(z.min()) - 0.5 * truck.tyre_radius
    axes.fill_between(1e3 * s, 1e3 * z, 1e3 * low, color="#c4b193", lw=0.0)
    axes.plot(1e3 * s, 1e3 * z, color="#55493d", lw=1.0)
    a, b = obstacle.crux
    axes.add_patch(
        Rectangle((1e3 * a, 0), 1e3 * (b - a), 1, transform=axes.get_xaxis_transform(), color=LANE, alpha=0.07, lw=0)
    )
    axes.axvline(1e3 * obstacle.finish_s, color="#1b6e3c", lw=1.5)
    tops = [_place_truck(axes, truck, s, z, 0.0)]
    tops.append(_place_truck(axes, truck, s, z, max(0.0, 0.5 * (a + b) - 0.5 * truck.wheelbase), alpha=0.35))
    axes.set_aspect("equal")
    axes.set_xlim(-1e3 * 1.5 * truck.tyre_radius, 1e3 * s[-1])
    axes.set_ylim(1e3 * low, 1e3 * (max(float(z.max()), *tops) + 0.5 * truck.tyre_radius))
    axes.set_title("Side view along the lane, truck to scale (pale red: crux; green: finish)", loc="left", fontsize=10)
    axes.set_xlabel("along the lane, mm")
    axes.set_ylabel("height, mm")


def wheel_height(s: Vector, z: Vector, at: float, radius: float) -> float:
    """Height of a wheel centre standing at ``at`` on the profile z(s): the lowest place the rigid circle can have."""
    near = np.abs(s - at) < radius
    if not near.any():
        return float(np.interp(at, s, z)) + radius
    return float(np.max(z[near] + np.sqrt(radius**2 - (s[near] - at) ** 2)))


def _place_truck(axes: Axes, truck: SideView, s: Vector, z: Vector, rear: float, alpha: float = 0.9) -> float:
    """Draw the truck with its rear axle at ``rear``, front axle a wheelbase on; return the height of its top, m."""
    r, wb = truck.tyre_radius, truck.wheelbase
    rear_z = wheel_height(s, z, rear, r)
    reach = np.linspace(0.2 * wb, wb, 200)
    gaps = [abs(math.hypot(d, wheel_height(s, z, rear + d, r) - rear_z) - wb) for d in reach]
    d = float(reach[int(np.argmin(gaps))])
    front_z = wheel_height(s, z, rear + d, r)
    pitch = math.atan2(front_z - rear_z, d)
    turn = np.array([[math.cos(pitch), math.sin(pitch)], [-math.sin(pitch), math.cos(pitch)]])
    top = max(rear_z, front_z) + r
    for outline in truck.shapes():
        placed = (outline - [0.0, r]) @ turn + [rear, rear_z]
        top = max(top, float(placed[:, 1].max()))
        axes.add_patch(Polygon(1e3 * placed, closed=True, facecolor=TRUCK, alpha=0.55 * alpha, lw=0.0))
    for x, height in ((rear, rear_z), (rear + d, front_z)):
        axes.add_patch(Circle((1e3 * x, 1e3 * height), 1e3 * r, facecolor="#333333", alpha=alpha, lw=0.0))
        axes.add_patch(Circle((1e3 * x, 1e3 * height), 450.0 * r, facecolor="#dddddd", alpha=alpha, lw=0.0))
    return top
