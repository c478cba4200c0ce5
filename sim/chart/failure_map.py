"""Where trials ended along the lane: a plan of the ground with a mark for every failure, and its profile."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from models.vector import Vector
from sim.chart import style
from sim.chart.relief import lit
from terrain.heightfield import sample
from terrain.obstacle import Obstacle

MOST_MARKS = 150
"""Marks of one configuration on a map; of more trials every k-th is drawn, and the line below says so."""
MOST_TRUCKS = 6
"""Trucks on a map: the first and those most unlike it."""
TALLEST = 4.2
"""Inches that a profile may take; a taller one makes the whole picture smaller, never flatter."""


@dataclass(frozen=True)
class Endings:
    """Where the trials of one configuration on one obstacle ended."""

    name: str
    series: int
    trials: int
    along: Vector
    """(n,) m along the lane, of trials that did not clear."""
    reasons: tuple[str, ...]
    """(n,)"""


def failure_map(obstacle: Obstacle, endings: Sequence[Endings], place: str, width: float = 5.6) -> Figure:
    """Draw the plan with failures, how many ended where, and the lane's profile; all lengths in mm and to one scale."""
    told = telling(endings)
    thinned = max((len(e.along) for e in told), default=0) > MOST_MARKS
    subtitle = (
        "A mark is where a failed trial got to; across the lane the marks are only spread apart. Ground of one draw; "
        "heights and lengths to one scale. " + (f"At most {MOST_MARKS} marks a truck. " if thinned else "")
        + (f"{len(endings) - len(told)} more trucks are in endings.csv." if len(endings) > len(told) else "")
    )
    keys = [style.key(f"{e.name}: {len(e.along)} of {e.trials} failed", e.series, lw=0) for e in told]
    across = width - 1.1
    length = 1.03e3 * obstacle.finish_s
    z = 1e3 * _profile_heights(obstacle)[1]
    scale = min(across / length, TALLEST / max(float(np.ptp(z)) + 20.0, 1.0))
    half = 1e3 * obstacle.lane_half_width
    plan_tall, profile_tall = 2 * half * scale, (float(np.ptp(z)) + 20.0) * scale
    counts_tall = 0.8
    made = style.figure(width, plan_tall + profile_tall + counts_tall + 1.25, title(endings, place), subtitle, keys)
    height = made.get_figheight()
    y, boxes = style.top(made) * height - 0.08, []
    for tall in (plan_tall, counts_tall, profile_tall):
        y -= tall
        boxes.append((0.92 / width, y / height, length * scale / width, tall / height))
        y -= 0.24
    plan, counts, profile = (made.add_axes(box) for box in boxes)
    _plan(plan, obstacle, told)
    _counts(counts, told, length)
    _profile(profile, obstacle)
    for axes in (plan, counts, profile):
        axes.set_xlim(0.0, length)
        axes.xaxis.set_major_locator(MaxNLocator(5))
    for axes in (plan, counts):
        axes.tick_params(labelbottom=False, length=0)
    return made


def telling(endings: Sequence[Endings]) -> list[Endings]:
    """The first truck and those whose share of failures differs most from its own, in their order."""
    if len(endings) <= MOST_TRUCKS:
        return list(endings)
    shares = [len(e.along) / max(e.trials, 1) for e in endings]
    apart = sorted(range(1, len(endings)), key=lambda n: -abs(shares[n] - shares[0]))
    return [endings[n] for n in sorted([0, *apart[: MOST_TRUCKS - 1]])]


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
    rng = np.random.default_rng(0)
    bands = len(endings)
    for n, e in enumerate(endings):
        every = max(1, -(-len(e.along) // MOST_MARKS))
        x = 1e3 * e.along[::every]
        middle = half * (0.75 - 1.5 * (n + 0.5) / bands)
        y = 1e3 * (middle + (rng.random(len(x)) - 0.5) * 1.2 * half / bands)
        cloud = axes.plot(x, y, style.mark(e.series), color=style.colour(e.series), ms=7, mec="white", mew=0.7)[0]
        style.note(style.owner(axes), cloud, series=e.series)
    axes.set_ylim(-1e3 * half, 1e3 * half)
    axes.yaxis.set_major_locator(MaxNLocator(3))
    axes.set_ylabel("mm to the left" if 2 * half > 0.36 else "mm left")
    for side in axes.spines.values():
        side.set_visible(False)


def unrolled(lane: Vector, along: Vector, aside: Vector) -> Vector:
    """World points (len(along), len(aside), 2) at distances along a polyline and to its left, m."""
    steps = np.hypot(*np.diff(lane, axis=0).T)
    run = np.concatenate([[0.0], np.cumsum(steps)])
    k = np.clip(np.searchsorted(run, along, side="right") - 1, 0, len(steps) - 1)
    unit = (lane[k + 1] - lane[k]) / steps[k][:, None]
    middle = lane[k] + (along - run[k])[:, None] * unit
    left = np.stack([-unit[:, 1], unit[:, 0]], axis=1)
    return np.asarray(middle[:, None, :] + aside[None, :, None] * left[:, None, :])


def _profile_heights(obstacle: Obstacle) -> tuple[Vector, Vector]:
    """Distance along the lane and height of its middle, m."""
    along = np.linspace(0.0, obstacle.finish_s * 1.03, 400)
    points = unrolled(obstacle.lane, along, np.zeros(1))[:, 0]
    return along, sample(obstacle.ground, points[:, 0], points[:, 1])


def _counts(axes: Axes, endings: Sequence[Endings], length: float) -> None:
    """How many ended in every thirtieth of the lane, trucks side by side."""
    bins = np.linspace(0.0, length, 31)
    step = (bins[1] - bins[0]) / (len(endings) + 1)
    for n, e in enumerate(endings):
        counts, _ = np.histogram(1e3 * e.along, bins)
        for k in np.flatnonzero(counts):
            x = float(bins[k]) + (n + 1) * step
            stick = axes.plot([x, x], [0, counts[k]], color=style.colour(e.series), lw=2.4, solid_capstyle="butt")[0]
            said = f"{e.name}: {counts[k]} ended at {bins[k]:.0f} to {bins[k + 1]:.0f} mm"
            style.note(style.owner(axes), stick, said, e.series)
    style.frame(axes, grid="y")
    axes.set_ylim(bottom=0.0)
    axes.yaxis.set_major_locator(MaxNLocator(2, integer=True))
    axes.set_ylabel("trials")


def _profile(axes: Axes, obstacle: Obstacle) -> None:
    along, z = _profile_heights(obstacle)
    z = 1e3 * z
    low = float(z.min()) - 10.0
    axes.fill_between(1e3 * along, low, z, color=style.EARTH, lw=0)
    axes.plot(1e3 * along, z, color=style.QUIET, lw=1.2)
    axes.axvline(1e3 * obstacle.finish_s, color=style.INK, lw=2.0)
    style.frame(axes, grid="y")
    axes.set_ylim(low, low + float(np.ptp(z)) + 20.0)
    tall = axes.get_position().height * style.owner(axes).get_figheight()
    axes.yaxis.set_major_locator(MaxNLocator(max(1, min(4, int(tall / 0.3)))))
    axes.set_ylabel("mm up" if tall > 0.6 else "")
    axes.set_xlabel("along the lane, mm (line: finish)")
