"""Where trials ended along the lane: a plan of the ground with a mark for every failure, and its profile."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from sim.chart import style
from sim.chart.relief import lit
from sim.chart.rows import shortened
from terrain.heightfield import sample
from terrain.obstacle import Obstacle

Array = NDArray[np.float64]
MOST_MARKS = 150
"""Marks of one configuration on a map; of more trials every k-th is drawn, and the line below says so."""


@dataclass(frozen=True)
class Endings:
    """Where the trials of one configuration on one obstacle ended."""

    name: str
    series: int
    trials: int
    along: Array
    """(n,) m along the lane, of trials that did not clear."""
    reasons: tuple[str, ...]
    """(n,)"""


def failure_map(obstacle: Obstacle, endings: Sequence[Endings], place: str, width: float = 5.6) -> Figure:
    """Draw the plan with failures over the profile of the lane; lengths in mm."""
    thinned = max((len(e.along) for e in endings), default=0) > MOST_MARKS
    subtitle = (
        "A mark is where a failed trial got to; across the lane the marks are only spread apart. Ground of one draw. "
        + (f"At most {MOST_MARKS} marks a truck. " if thinned else "")
        + ", ".join(f"{shortened(e.name)} {len(e.along)} of {e.trials} failed" for e in endings[:4])
    )
    made = style.figure(width, 5.0 if width > 7 else 4.7, title(endings, place), subtitle, wrap=int(7.8 * width))
    height = made.get_figheight()
    foot, room = 0.6 / height, style.top(made) - 0.6 / height - 0.05 / height
    box = (0.8 / width, foot, 1 - 0.98 / width, room)
    plan = made.add_axes((box[0], foot + 0.45 * room, box[2], 0.55 * room))
    profile = made.add_axes((box[0], foot, box[2], 0.40 * room), sharex=plan)
    _plan(plan, obstacle, endings)
    _profile(profile, obstacle, endings)
    return made


def title(endings: Sequence[Endings], place: str) -> str:
    """The commonest way to fail."""
    reasons = Counter((e.name, reason) for e in endings for reason in e.reasons)
    if not reasons:
        return f"No trial failed on {place}"
    (name, reason), count = reasons.most_common(1)[0]
    failed = next(len(e.along) for e in endings if e.name == name)
    return f"{name} on {place}: {reason} in {count} of {failed} failures"


def _plan(axes: Axes, obstacle: Obstacle, endings: Sequence[Endings]) -> None:
    """Ground unrolled along the lane, so that bends do not hide distances."""
    half = obstacle.lane_half_width
    length = float(np.sum(np.hypot(*np.diff(obstacle.lane, axis=0).T)))
    along = np.linspace(0.0, max(length, obstacle.finish_s), 420)
    aside = np.linspace(-half, half, 90)
    points = unrolled(obstacle.lane, along, aside)
    z = sample(obstacle.ground, points[..., 0], points[..., 1])
    image = lit(z, (along[1] - along[0], aside[1] - aside[0]))
    pale = 0.55 * image.transpose(1, 0, 2) + 0.45
    axes.imshow(pale, origin="lower", extent=(0.0, 1e3 * along[-1], -1e3 * half, 1e3 * half), aspect="auto")
    axes.axvline(1e3 * obstacle.finish_s, color=style.INK, lw=2.0)
    axes.text(1e3 * obstacle.finish_s - 4.0, 0.94 * 1e3 * half, "finish", ha="right", va="top", fontsize=9.5)
    rng = np.random.default_rng(0)
    bands = len(endings)
    for n, e in enumerate(endings):
        every = max(1, -(-len(e.along) // MOST_MARKS))
        x = 1e3 * e.along[::every]
        middle = half * (0.75 - 1.5 * (n + 0.5) / bands)
        y = 1e3 * (middle + (rng.random(len(x)) - 0.5) * 1.2 * half / bands)
        axes.plot(x, y, style.mark(e.series), color=style.colour(e.series), ms=7, mec="white", mew=0.7, alpha=0.85)
    axes.set_xlim(0.0, 1.03e3 * obstacle.finish_s)
    axes.set_ylabel("left of the lane, mm", fontsize=9.5)
    axes.tick_params(labelbottom=False, length=0)
    for side in axes.spines.values():
        side.set_visible(False)


def unrolled(lane: Array, along: Array, aside: Array) -> Array:
    """World points (len(along), len(aside), 2) at distances along a polyline and to its left, m."""
    steps = np.hypot(*np.diff(lane, axis=0).T)
    run = np.concatenate([[0.0], np.cumsum(steps)])
    k = np.clip(np.searchsorted(run, along, side="right") - 1, 0, len(steps) - 1)
    unit = (lane[k + 1] - lane[k]) / steps[k][:, None]
    middle = lane[k] + (along - run[k])[:, None] * unit
    left = np.stack([-unit[:, 1], unit[:, 0]], axis=1)
    return np.asarray(middle[:, None, :] + aside[None, :, None] * left[:, None, :])


def _profile(axes: Axes, obstacle: Obstacle, endings: Sequence[Endings]) -> None:
    along = np.linspace(0.0, obstacle.finish_s * 1.03, 400)
    points = unrolled(obstacle.lane, along, np.zeros(1))[:, 0]
    z = 1e3 * sample(obstacle.ground, points[:, 0], points[:, 1])
    floor = float(z.min()) - 0.25 * max(float(np.ptp(z)), 20.0)
    axes.fill_between(1e3 * along, floor, z, color="#c9bfae", lw=0)
    axes.plot(1e3 * along, z, color=style.QUIET, lw=1.2)
    bins = np.linspace(0.0, obstacle.finish_s * 1.03, 34)
    most = max([1, *(int(np.histogram(e.along, bins)[0].max()) for e in endings if len(e.along))])
    room = 0.9 * max(float(np.ptp(z)), 20.0)
    for e in endings:
        counts, _ = np.histogram(e.along, bins)
        middle = 0.5 * (bins[1:] + bins[:-1])
        ground = np.interp(middle, along, z)
        some = counts > 0
        axes.plot(1e3 * middle[some], (ground + room * counts / most)[some], style.mark(e.series),
                  color=style.colour(e.series), ms=6, mec="white", mew=0.6, zorder=3)
        axes.vlines(1e3 * middle[some], ground[some], (ground + room * counts / most)[some],
                    color=style.colour(e.series), lw=2.4, alpha=0.7)
    style.frame(axes, grid="y")
    axes.set_ylim(floor, float(z.max()) + 1.15 * room)
    axes.set_ylabel("height, mm", fontsize=9.5)
    axes.set_xlabel("along the lane, mm; sticks: how many ended there")


