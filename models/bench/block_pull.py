"""A free-rolling axle pulled over a block with a spring scale: how stiff its tyres are where an edge presses them.

The tyre's law (a pressure field fixed to the tyre) has nothing left to choose at an edge once its load on a flat is
known. What a pull can tell is how stiff the tyre is there: a softer one wraps the edge and asks for less. Force and
load are both in proportion to the stiffness: a tyre k times as stiff is pulled under W like this one under W / k.
Left out: the lean of the truck, which shifts some percent of the load as the axle rises.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.interpolate import PchipInterpolator

from models.assemble import rigid_model
from models.bench.interval import Interval
from models.bench.measure_chassis import ruler
from models.bench.measurement import Measurement, Setting, mapped, mean_of
from models.bench.readings import BlockPull, Readings
from models.errors import BuildSheetError
from models.massprops import GRAVITY, wheel_loads
from models.rigid import SOFT_EDGE, TyreRing
from models.spec import Sheet
from models.vector import Vector

SCALE = 0.03
"""Share of a pull that a spring scale and a hand are off (common practice, no source)."""
LAW = 0.05
"""Share of the largest pull that the law is off: 2 to 7 % under a ring in finite elements (validation, "judges")."""
SOFTER, STIFFER = 4.0, 8.0
"""How far from the sheet's stiffness the tyre is looked for."""
_ALONG, _WEIGHT = np.polynomial.legendre.leggauss(24)
_ACROSS, _SHARE = np.polynomial.legendre.leggauss(12)
_ACROSS = (1.0 + SOFT_EDGE) * _ACROSS  # in half widths, to where the shoulders end
_SHARE = (1.0 + SOFT_EDGE) * _SHARE * np.clip((1.0 + SOFT_EDGE - abs(_ACROSS)) / (2.0 * SOFT_EDGE), 0.0, 1.0)
PLACES = 30


def rigid_pull(height: float, radius: float) -> float:
    """Largest pull over load of a rigid wheel over a block, ``sqrt(2 R h - h^2) / (R - h)``: moments about the edge."""
    return math.sqrt(2.0 * radius * height - height**2) / (radius - height)


def edge_pull(ring: TyreRing, height: float, load: float) -> float:
    """Largest pull (N) at the axle that takes a free wheel under a load (N) up a sharp block ``height`` (m) high.

    The ground's pressure on the tyre summed over floor, face and top in the wheel's plane, crown by crown across it;
    :mod:`sim.physics.tyre_pressure` does the same on any ground.
    """
    radius = float(ring.row_radius.max())
    ahead = np.linspace(0.0, radius, PLACES)
    for _ in range(2):  # the second time around the largest: a hard tyre's lies within a hair of first touch
        push = _pushes(ring, height, load, ahead)
        k = int(push.argmax())
        ahead = np.linspace(ahead[max(k - 1, 0)], ahead[min(k + 1, PLACES - 1)], PLACES)
    return float(push.max())


def _pushes(ring: TyreRing, height: float, load: float, ahead: Vector) -> Vector:
    """Push (n,) N against a wheel that rests under its load with the block's face (n,) m ahead of the axle."""
    field = ring.pressure()
    depths = ring.law_step * np.arange(len(field))
    edge = float(ring.row_radius.max()) - ring.crown * (0.5 * ring.width * _ACROSS) ** 2
    x = ahead[:, None]

    def chord(far: Vector) -> Vector:
        return np.sqrt(np.maximum(edge**2 - far**2, 0.0))

    def summed(low: Vector, high: Vector, aside: Vector) -> Vector:
        """Force (n,) on a flat ``aside`` (n, 1) of the axle, between ``low`` and ``high`` (n, 4) along it."""
        half = 0.5 * np.maximum(high - low, 0.0)
        place = 0.5 * (high + low)[..., None] + half[..., None] * _ALONG
        deep = edge[:, None] - np.hypot(place, aside[..., None])
        press = np.where(deep > 0.0, np.interp(deep, depths, field), 0.0)
        return np.asarray((half * (press @ _WEIGHT)) @ (0.5 * ring.width * _SHARE))

    low, high = np.full_like(x, 0.3 * edge.max()), np.full_like(x, edge.max() + height)
    for _ in range(36):
        z = 0.5 * (low + high)
        floor, top = chord(z), chord(z - height)
        heavy = summed(-floor, np.minimum(x, floor), z) + summed(np.maximum(x, -top), top, z - height) > load
        low, high = np.where(heavy[:, None], z, low), np.where(heavy[:, None], high, z)
    face = chord(x)
    return summed(np.maximum(-z, -face), np.minimum(height - z, face), x)


def block_pull(readings: Readings, sheet: Sheet) -> list[Measurement]:
    """Stiffness of the tyres at an edge over that of the sheet."""
    found = []
    for n, entry in enumerate(readings.block_pull, start=1):
        field = f"block_pull.{n}"
        ring = rigid_model(sheet).tyres[0 if entry.axle == "front" else 2]
        height, load, pull = _read(entry, readings, sheet, ring, field)
        ratio = pull.times(1.0 / load)
        stiffness = _stiffness(ring, height, load, ratio, ruler(readings), field)
        tyre, path = getattr(sheet.tyres, entry.axle), ("tyres", entry.axle)
        table = tyre.squish is not None or any(s.axle == entry.axle for s in readings.squish)
        settings = () if table else tuple(
            Setting((*path, key), round(stiffness.value * value, 4), "fitted",
                    f"pulled over a block, times {stiffness.low:.2f} to {stiffness.high:.2f}")
            for key in ("stiffness_n_per_mm", "foam_stiffness_n_per_mm")
            if (value := getattr(tyre, key)) is not None
        )  # fmt: skip
        found.append(Measurement(
            "block_pull", f"{entry.axle} tyre at an edge, stiffness over the sheet's", "", stiffness, 1.0, settings,
            "the squish table stays; off 1, the tread bridges (more) or folds (less) where the law does not" if table
            else f"pull over load {ratio.value:.2f}; a rigid wheel's {rigid_pull(height, ring.row_radius.max()):.2f}",
        ))  # fmt: skip
    return found


def _read(
    entry: BlockPull, readings: Readings, sheet: Sheet, ring: TyreRing, field: str
) -> tuple[float, float, Interval]:
    """Block's height (m), one wheel's load and largest pull (N), rolling taken off."""
    radius = float(ring.row_radius.max())
    height = readings.read("length", entry.height, f"{field}.height")
    if not 0.07 * radius < height < 0.45 * radius:
        raise BuildSheetError("is no block for this tyre.",
                              remedy=f"Take one of {100 * radius:.1f} to {300 * radius:.1f} mm.",
                              field=f"{field}.height", value=entry.height)
    on_sheet = wheel_loads(sheet).load[:2] if entry.axle == "front" else wheel_loads(sheet).load[2:]
    load = float(on_sheet.mean()) if entry.load is None else 0.5 * GRAVITY * readings.read(
        "mass", entry.load, f"{field}.load")  # fmt: skip
    pulls = [pull / 2.0 for pull in readings.read_all("force", entry.pulls, f"{field}.pulls")]
    rolling = [pull / 2.0 for pull in readings.read_all("force", entry.rolling or (), f"{field}.rolling")]
    off = float(np.mean(rolling)) if rolling else 0.0
    mean = float(np.mean(pulls))
    if not 0.0 <= off < mean or load <= 0.0:
        raise BuildSheetError("the block asks for more than the flat, and the axle carries something.",
                              remedy="Rolling is the pull on the flat.", field=f"{field}.rolling",
                              value=list(entry.rolling or ()))
    return height, load, mean_of([p - off for p in pulls], SCALE * mean)


def _stiffness(
    ring: TyreRing, height: float, load: float, ratio: Interval, ruler_m: float, field: str
) -> Interval:  # fmt: skip
    """Stiffness over the ring's that gives this pull over load."""
    times = np.geomspace(1.0 / SOFTER, STIFFER, 16)
    pulls = np.array([edge_pull(ring, height, load / k) / (load / k) for k in times])
    if not pulls[0] < ratio.value < pulls[-1]:
        raise BuildSheetError(
            f"the pull is {ratio.value:.2f} of the load; {pulls[0]:.2f} (a tyre a quarter as stiff as the sheet's) to "
            f"{pulls[-1]:.2f} (eight times) can be.",
            remedy="Check the block's height, the scale's unit, and that the axle's wheels turn freely.",
            field=f"{field}.pulls",
        )  # fmt: skip
    nudge = 0.02 * height
    per_height = (edge_pull(ring, height + nudge, load) - edge_pull(ring, height - nudge, load)) / (2 * nudge * load)
    doubt = math.hypot(ratio.uncertainty, per_height * ruler_m, LAW / math.sqrt(3.0) * ratio.value)
    half = doubt * ratio.half_width / ratio.uncertainty
    clipped = np.clip([ratio.value - half, ratio.value + half], pulls[0], pulls[-1])
    curve = PchipInterpolator(pulls, np.log(times))
    within = Interval(ratio.value, doubt, float(clipped[0]), float(clipped[1]))
    return mapped(within, lambda pull: math.exp(float(curve(np.clip(pull, pulls[0], pulls[-1])))))
