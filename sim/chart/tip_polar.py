"""Tip angle in every direction round the truck: by the handbook, and simulated on a tilt table."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.figure import Figure

from models.massprops import contact_places, truck_properties
from models.spec import Sheet
from models.vector import Vector
from sim.chart import style
from sim.trial.tilt_table import Tilted, how, reach

SIDES = (("nose down", 0.0), ("left", 90.0), ("nose up", 180.0), ("right", 270.0))
MOST = 8
"""Trucks in colour; further ones stay grey."""


def tip_curve(sheet: Sheet, direction: Vector) -> Vector:
    """Tip angle (n,) deg in directions (n,) rad from ahead, to the left: the side that is low; rigid truck."""
    cg = truck_properties(sheet).cg
    return np.asarray(np.degrees(np.arctan2(reach(contact_places(sheet), cg, direction), cg[2])))


def tip_polar(
    trucks: Sequence[tuple[str, int, Sheet]], width: float = 5.6, simulated: Mapping[str, Tilted] | None = None
) -> Figure:
    """Draw tip angles (deg) of (name, series, sheet) round the truck, nose up in the picture.

    The first truck is the one compared with. ``simulated`` are the angles at which the named trucks tipped on a
    simulated tilt table.
    """
    shown = strong(trucks)
    low, high = _ends(trucks, simulated)
    subtitle = _subtitle(simulated, len(trucks) - len(shown), low)
    size = width - 1.7
    keys = [style.key(name, series) for name, series, _ in trucks if name in shown]
    made = style.figure(width, size + 0.75, title(trucks), subtitle, keys)
    height = made.get_figheight()
    axes = made.add_axes(((width - size) / 2 / width, 0.38 / height, size / width, size / height), projection="polar")
    axes.set_theta_zero_location("N")  # type: ignore[attr-defined]
    direction = np.radians(np.arange(0.0, 361.0, 1.0))
    for name, series, sheet in trucks:
        angles = tip_curve(sheet, direction)
        if name not in shown:
            grey = axes.plot(direction, angles, ls="-", color=style.FAINT, lw=1.0, zorder=1)[0]
            style.note(made, grey, name, series)
            continue
        said = ", ".join(f"{word} {angles[int(at)]:.1f}°" for word, at in SIDES)
        curve = axes.plot(direction, angles, style.mark(series), ls="-", color=style.colour(series), lw=2.0, ms=8,
                          mec="white", markevery=[int(at) for _, at in SIDES])[0]
        style.note(made, curve, f"{name}: {said}", series)
        if simulated and name in simulated:
            axes.plot(np.radians(simulated[name].direction), simulated[name].angle, style.mark(series),
                      color=style.PAPER, mec=style.colour(series), mew=1.6, ms=6.5, ls="none", zorder=3)
    axes.set_xticks(np.radians([s for _, s in SIDES]), [word for word, _ in SIDES])
    axes.set_ylim(low, high)
    rings = np.arange(low + 10.0, high, 10.0 if high - low <= 50.0 else 20.0)
    axes.set_yticks(rings, [""] * len(rings))
    for ring in rings:
        # Over the curves, on a plate: under them a ring's number would be struck through.
        axes.text(math.radians(45.0), ring, f"{ring:.0f}°", color=style.QUIET, fontsize=style.SMALL, ha="center",
                  va="center", zorder=5, bbox={"facecolor": style.PAPER, "edgecolor": "none", "pad": 0.6, "alpha": 0.8})
    axes.grid(color=style.GRID)
    axes.spines["polar"].set_color(style.GRID)
    return made


def _ends(trucks: Sequence[tuple[str, int, Sheet]], simulated: Mapping[str, Tilted] | None) -> tuple[float, float]:
    """Angles (deg) at the centre and the rim: a ring inside the least, so that trucks alike can be told apart."""
    round_it = np.radians(np.arange(0.0, 360.0, 1.0))
    drawn = [tip_curve(sheet, round_it) for _, _, sheet in trucks]
    drawn += [np.array(one.angle) for one in (simulated or {}).values()]
    angles = np.concatenate(drawn)
    low = 10.0 * math.floor(float(np.nanmin(angles)) / 10.0) - 10.0
    return max(low, 0.0), 10.0 * math.ceil(float(np.nanmax(angles)) / 10.0)


def _subtitle(simulated: Mapping[str, Tilted] | None, grey: int, low: float) -> str:
    said = "Static, rigid truck: weight over the line through the tyre centres. Tyres and springs make it less."
    if simulated:
        count = max(len(one.direction) for one in simulated.values())
        said = (f"Lines: rigid truck, weight over the tyre centres. Hollow: simulated on a tilt table in {count} "
                f"directions, {how(simulated.values())}.")
    said += f" Centre: {low:.0f}°."
    return f"{said} Grey: {grey} more, less unlike the first." if grey else said


def strong(trucks: Sequence[tuple[str, int, Sheet]], most: int = MOST) -> list[str]:
    """The first truck and those whose handbook tip angles differ most from its own, at most so many."""
    if len(trucks) <= most:
        return [name for name, *_ in trucks]
    round_it = np.radians(np.arange(0.0, 360.0, 15.0))
    first = tip_curve(trucks[0][2], round_it)
    apart = {name: float(np.abs(tip_curve(sheet, round_it) - first).max()) for name, _, sheet in trucks[1:]}
    return [trucks[0][0], *sorted(apart, key=lambda name: -apart[name])[: most - 1]]


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
