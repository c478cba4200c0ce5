"""The tyre's law before judges that share nothing with it: a ring in finite elements, a membrane, a rigid wheel.

All are wheels without friction under the same load, as far pressed in by it on a flat as the 1/24's front tyre, and
pushed slowly over a step. docs/tyre_law.md has the table.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from scipy.optimize import brentq

from models.tyre import fit_tyre, plate_table, static_squish
from sim.physics.arrays import W_FX
from sim.validation.check import Group, Measured, absolute, at_least, relative
from sim.validation.ring import EDGE, Material, pushed_ring
from sim.validation.truck import sheet, truck
from sim.validation.tyre import Rig
from terrain.heightfield import Heightfield

GROUP = Group("judges", "The tyre's law before outside judges")
TYRE = "gundi"
FOAM = Material(rim=0.5, poisson=0.3, band=10.0)
"""Foam under a tread band ten times as stiff; rim as the sheet's, the rest assumed."""
RING_STEPS = (0.2, 0.4)
STEPS = (0.1, 0.2, 0.4, 0.6, 0.8)


@cache
def usual() -> tuple[float, float, float]:
    """Radius (m), load (N) and sink over radius of the tyre that is pushed."""
    tyre = sheet(TYRE).tyres.front
    shape, law = fit_tyre(tyre)
    load = float(np.median(plate_table(tyre)[1]))
    return shape.radius, load, static_squish(shape, law, load) / shape.radius


def pushed(share: float, edge: float, spacing: float = 0.001) -> tuple[float, float]:
    """Work over load times rise and largest pull over load of the tyre's law over a step ``share`` radii high.

    :param edge: radius of the step's edge over the wheel's.
    """
    radius, load, _ = usual()
    x = np.arange(-0.08, 0.08 + spacing / 2.0, spacing)
    bend, high = max(min(edge, share) * radius, 1e-9), share * radius
    arc = high - bend + np.sqrt(np.maximum(bend**2 - np.minimum(x - bend, 0.0) ** 2, 0.0))
    z = np.where(x > 0.3 * spacing, np.where(x < bend, arc, high), 0.0)
    ground = Heightfield.of(np.repeat(z[:, None], round(0.05 / spacing), axis=1), (-0.08, -0.025), spacing)
    rig = Rig(truck(TYRE), ground)
    xs = np.linspace(-1.45 * radius, 0.85 * radius, 90)
    heights = np.array([rig.lift(float(x), load) for x in xs])
    pull = -np.array([rig.force(float(x), float(z))[W_FX] for x, z in zip(xs, heights, strict=True)])
    return float(np.trapezoid(pull, xs)) / (load * float(heights[-1] - heights[0])), float(pull.max()) / load


def membrane_peak(share: float, sink: float) -> float:
    """Largest pull over load of a wheel of constant pressure inside: it lies wholly on whatever it touches.

    The softest limit of every law of this kind: load and pull are the pressure times the ground's level and plumb
    length inside the circle. Lengths in radii.
    """
    pressure = 1.0 / (2.0 * math.sqrt(2.0 * sink - sink * sink))

    def chord(depth: float) -> float:
        return math.sqrt(max(1.0 - depth * depth, 0.0))

    def load(x: float, z: float) -> float:
        below, above = chord(z), chord(z - share)
        floor = max(min(0.0, x + below) - (x - below), 0.0)
        return pressure * (floor + max(x + above - max(0.0, x - above), 0.0))

    best = 0.0
    for x in np.linspace(-1.0, 0.0, 400)[1:]:
        low = max(share, 0.2)
        if load(x, low) > 1.0:
            z = float(brentq(lambda z, x=x: load(x, z) - 1.0, low, 1.0 + share))
            best = max(best, pressure * max(share - max(z - chord(x), 0.0), 0.0))
    return best


def rigid_peak(share: float) -> float:
    """Largest pull over load of a rigid wheel: moments about the edge."""
    return math.sqrt(2.0 * share - share * share) / (1.0 - share)


@cache
def ring(share: float) -> tuple[float, float]:
    """Work and peak of the ring in finite elements."""
    return pushed_ring(FOAM, share, usual()[2])


@GROUP.check("ring over a step, work",
             f"A ring of rubber in finite elements pushed over a step costs load times height too: h/R {RING_STEPS}",
             source="conservation of energy: what makes the ring fit to judge", known="derived here",
             unit="work/(load h)", tolerance=absolute(0.03, "36 places along the push; a tread of chords"), slow=True)
def ring_work() -> Measured:
    """Edge rounded by a tenth of the radius."""
    return Measured([1.0] * len(RING_STEPS), [ring(share)[0] for share in RING_STEPS])


@GROUP.check("push over a step, finite elements",
             f"Largest pull over load over the same rounded step, the ring's and the law's: h/R {RING_STEPS}",
             source="plane finite elements of large strain, same sink on a flat", known="derived here",
             unit="pull/load", tolerance=relative(0.15, "the ring's tread band, rim and Poisson's ratio are assumed"),
             slow=True)
def ring_peak() -> Measured:
    """What bulging, bridging and bending come to, which the law leaves out."""
    return Measured([ring(share)[1] for share in RING_STEPS], [pushed(share, EDGE)[1] for share in RING_STEPS])


@GROUP.check("push over a step, membrane limit",
             f"A tyre that stiffens as it is pressed asks for more than a membrane of constant pressure: h/R {STEPS}",
             source="pressure times plumb length of the step inside the circle, load held", known="derived here",
             unit="pull/load", tolerance=at_least(0.0, "an inequality; the rigid wheel is the other end"), slow=True)
def membrane() -> Measured:
    """The lower bound."""
    sink = usual()[2]
    return Measured([membrane_peak(share, sink) for share in STEPS], [pushed(share, 0.0)[1] for share in STEPS])
