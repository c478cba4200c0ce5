"""Static tip angle in every direction, round the truck."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from models.massprops import contact_places, truck_properties
from models.spec import Sheet
from models.stability import TipAngles
from sim.chart import style
from sim.chart.rows import shortened

Array = NDArray[np.float64]
SIDES = (("nose down", 0.0), ("left", 90.0), ("nose up", 180.0), ("right", 270.0))


def reach(contacts: Array, cg: Array, direction: Array) -> Array:
    """Distance (m) from the centre of gravity to the support polygon's edge in directions (n,), rad from ahead.

    ``contacts`` (4, 2): front left, front right, rear left, rear right, m.
    """
    corners = np.asarray(contacts)[[0, 1, 3, 2]]
    unit = np.stack([np.cos(direction), np.sin(direction)], axis=1)
    out = np.full(len(direction), np.inf)
    for p, q in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        # Clockwise from above: the outside is to the left of the walk.
        outward = np.array([-(q - p)[1], (q - p)[0]])
        outward /= np.linalg.norm(outward)
        gap, pace = float((p - cg[:2]) @ outward), unit @ outward
        with np.errstate(divide="ignore", invalid="ignore"):
            out = np.minimum(out, np.where(pace > 1e-12, gap / pace, np.inf))
    return out


def tip_curve(sheet: Sheet, direction: Array) -> Array:
    """Tilt (deg) at which a rigid truck tips when the ground falls away in each direction (rad from ahead)."""
    cg = truck_properties(sheet).cg
    return np.degrees(np.arctan2(reach(contact_places(sheet), cg, direction), cg[2]))


def tip_polar(
    trucks: Sequence[tuple[str, int, Sheet]], width: float = 5.6, simulated: Mapping[str, TipAngles] | None = None
) -> Figure:
    """Draw tip angles (deg) of (name, series, sheet) round the truck, nose up in the picture.

    ``simulated`` are the angles (deg) at which the named trucks tipped on a simulated tilt table.
    """
    subtitle = "Static, rigid truck: weight over the line through the tyre centres. Tyres and springs make it less."
    if simulated:
        subtitle = "Lines: rigid truck, weight over the tyre centres. Hollow: simulated on a tilt table, no sliding."
    rows = len(trucks)
    made = style.figure(width, 0.9 * width + 1.2 + 0.24 * rows, title(trucks), subtitle, wrap=int(7.8 * width))
    height = made.get_figheight()
    top = style.top(made) - (0.24 * rows + 0.25) / height
    size = min(width - 1.3, (top - 0.35 / height) * height)
    axes = made.add_axes(((width - size) / 2 / width, 0.38 / height, size / width, size / height), projection="polar")
    axes.set_theta_zero_location("N")  # type: ignore[attr-defined]
    direction = np.radians(np.arange(0.0, 361.0, 1.0))
    for name, series, sheet in trucks:
        angles = tip_curve(sheet, direction)
        axes.plot(direction, angles, style.mark(series), ls="-", color=style.colour(series), lw=2.0, ms=8, mec="white",
                  markevery=[int(at) for _, at in SIDES], label=shortened(name))
        tilted = None if simulated is None else simulated.get(name)
        if tilted is not None:
            seen = (tilted.front, tilted.left, tilted.back, tilted.right)
            axes.plot([math.radians(s) for _, s in SIDES], seen, style.mark(series), color=style.PAPER,
                      mec=style.colour(series), mew=1.8, ms=7.5, ls="none", zorder=3)
    axes.set_xticks(np.radians([s for _, s in SIDES]), [word for word, _ in SIDES])
    axes.set_ylim(0.0, 10.0 * math.ceil(max(float(tip_curve(s, direction).max()) for _, _, s in trucks) / 10.0))
    axes.set_yticks([20, 40, 60], ["20°", "40°", "60°"], color=style.QUIET, fontsize=9.5)
    axes.set_rlabel_position(45)  # type: ignore[attr-defined]
    axes.grid(color=style.GRID)
    axes.spines["polar"].set_color(style.GRID)
    made.legend(loc="upper left", bbox_to_anchor=(0.1 / width, style.top(made) + 0.08 / height), frameon=False,
                fontsize=10.5, handlelength=1.8)
    return made


def title(trucks: Sequence[tuple[str, int, Sheet]]) -> str:
    """The largest change of a cardinal tip angle against the first truck."""
    spots = np.radians([s for _, s in SIDES])
    first = tip_curve(trucks[0][2], spots)
    if len(trucks) == 1:
        least = int(np.argmin(first))
        return f"{trucks[0][0]} tips first {_fall(SIDES[least][0])}, at {first[least]:.0f}°"
    name, shift = max(
        ((t[0], tip_curve(t[2], spots) - first) for t in trucks[1:]), key=lambda pair: float(np.abs(pair[1]).max())
    )
    k = int(np.argmax(np.abs(shift)))
    if abs(shift[k]) < 0.05:
        return "The tip angles stay as they were"
    return f"{name} tips {abs(shift[k]):.1f}° {'later' if shift[k] > 0 else 'earlier'} {_fall(SIDES[k][0])}"


def _fall(word: str) -> str:
    return word if word.startswith("nose") else f"to the {word}"
