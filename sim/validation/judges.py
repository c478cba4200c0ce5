"""The tyre's law before judges that share nothing with it: a ring in finite elements, a membrane, a rigid wheel.

All are wheels under the same load, as far pressed in by it on a flat as the 1/24's front tyre: without friction and
pushed slowly over a step, or spinning their way over it at the end of their grip. docs/tyre_law.md has the tables.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from models.tyre import fit_tyre, plate_table, static_squish
from sim.physics.arrays import W_FX, W_FZ
from sim.validation.check import Group, Measured, absolute, at_least, at_most, relative
from sim.validation.ring import EDGE, Material, pushed_ring
from sim.validation.ring_climb import spun_ring
from sim.validation.truck import sheet, truck
from sim.validation.tyre import Rig
from terrain.heightfield import Heightfield

GROUP = Group("judges", "The tyre's law before outside judges")
TYRE = "gundi"
FOAM = Material(rim=0.5, poisson=0.3, band=10.0)
"""Foam under a tread band ten times as stiff; rim as the sheet's, the rest assumed."""
SMOOTH_STEPS = (0.1, 0.2, 0.4, 0.6)
"""At 0.8 radii the ring without friction lets go of the face at once, and what it had stored is lost: no work row."""
STEPS = (0.1, 0.2, 0.4, 0.6, 0.8)
GRIPS = (0.3, 0.5, 0.7, 1.0)
PLACES = 16
"""Heights of the axle, evenly from the flat to the top of the step, at which a spinning wheel is held."""
SLIP = 0.3
"""How far the tread is run backward, in radii, until all of it slides."""


@cache
def usual() -> tuple[float, float, float]:
    """Radius (m), load (N) and sink over radius of the tyre that is pushed."""
    tyre = sheet(TYRE).tyres.front
    shape, law = fit_tyre(tyre)
    load = float(np.median(plate_table(tyre)[1]))
    return shape.radius, load, static_squish(shape, law, load) / shape.radius


def _step(share: float, edge: float, spacing: float) -> Heightfield:
    """Ground with a step up at x = 0."""
    radius = usual()[0]
    x = np.arange(-0.08, 0.08 + spacing / 2.0, spacing)
    bend, high = max(min(edge, share) * radius, 1e-9), share * radius
    arc = high - bend + np.sqrt(np.maximum(bend**2 - np.minimum(x - bend, 0.0) ** 2, 0.0))
    z = np.where(x > 0.3 * spacing, np.where(x < bend, arc, high), 0.0)
    return Heightfield.of(np.repeat(z[:, None], round(0.05 / spacing), axis=1), (-0.08, -0.025), spacing)


def pushed(share: float, edge: float, spacing: float = 0.001) -> tuple[float, float]:
    """Work over load times rise and largest pull over load of the tyre's law over a step ``share`` radii high.

    :param edge: radius of the step's edge over the wheel's.
    """
    radius, load, _ = usual()
    rig = Rig(truck(TYRE), _step(share, edge, spacing))
    xs = np.linspace(-1.45 * radius, 0.85 * radius, 90)
    heights = np.array([rig.lift(float(x), load) for x in xs])
    pull = -np.array([rig.force(float(x), float(z))[W_FX] for x, z in zip(xs, heights, strict=True)])
    return float(np.trapezoid(pull, xs)) / (load * float(heights[-1] - heights[0])), float(pull.max()) / load


def spun(share: float, grip: float, spacing: float = 0.001, places: int = PLACES) -> NDArray[np.float64]:
    """Pull over load (places,) that holds a spinning wheel at even heights over a step; below 0 it pulls by itself."""
    radius, load, _ = usual()
    rig = Rig(truck(TYRE), _step(share, EDGE, spacing), grip=grip)
    flat, slip, pulls = rig.lift(-0.06, load), SLIP * radius, []
    for z in flat + share * radius * (np.arange(places) + 0.5) / places:
        low, high = -1.4 * radius, 0.5 * radius
        while high - low > 1e-6:
            middle = 0.5 * (low + high)
            low, high = (middle, high) if rig.spun(middle, float(z), slip)[W_FZ] < load else (low, middle)
        pulls.append(-float(rig.spun(high, float(z), slip)[W_FX]) / load)
    return np.array(pulls)


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


def rigid_spun_peak(share: float, grip: float) -> float:
    """The same of a rigid wheel that spins: the edge's force leans forward by the angle of friction."""
    return math.tan(math.acos(1.0 - share) - math.atan(grip))


@cache
def ring(share: float) -> tuple[float, float]:
    """Work and peak of the ring in finite elements."""
    return pushed_ring(FOAM, share, usual()[2], points=36 if share < 0.7 else 72)


@GROUP.check("ring over a step, work",
             f"A ring of rubber in finite elements pushed over a step costs load times height too: h/R {SMOOTH_STEPS}",
             source="conservation of energy: what makes the ring fit to judge", known="derived here",
             unit="work/(load h)", tolerance=absolute(0.03, "36 places along the push; a tread of chords"), slow=True)
def ring_work() -> Measured:
    """Edge rounded by a tenth of the radius."""
    return Measured([1.0] * len(SMOOTH_STEPS), [ring(share)[0] for share in SMOOTH_STEPS])


@GROUP.check("push over a step, finite elements",
             f"Largest pull over load over the same rounded step, the ring's and the law's: h/R {SMOOTH_STEPS}",
             source="plane finite elements of large strain, same sink on a flat", known="derived here",
             unit="pull/load", tolerance=relative(0.15, "the ring's tread band, rim and Poisson's ratio are assumed"),
             slow=True)
def ring_peak() -> Measured:
    """What bulging, bridging and bending come to, which the law leaves out."""
    rings, laws = [ring(share)[1] for share in SMOOTH_STEPS], [pushed(share, EDGE)[1] for share in SMOOTH_STEPS]
    return Measured(rings, laws, note=_told(laws, rings))


@GROUP.check("push over a high step, finite elements",
             f"The same at h/R {STEPS[-1]}, where the ring hangs on the edge until it lets go at once",
             source="plane finite elements of large strain, same sink on a flat", known="derived here",
             unit="pull/load", slow=True,
             tolerance=relative(0.25, "the ring's own peak is 2.10 to 2.34 by where one looks"))
def ring_high() -> Measured:
    """Nearly as high as the axle, where a rigid wheel asks for five times its load."""
    return Measured([ring(STEPS[-1])[1]], [pushed(STEPS[-1], EDGE)[1]])


def _told(laws: list[float], rings: list[float]) -> str:
    return "law and ring: " + ", ".join(f"{law:.3f} {ring:.3f}" for law, ring in zip(laws, rings, strict=True))


@GROUP.check("spun over a step, rigid limit",
             "A soft wheel that spins asks for less than the rigid wheel's tan(acos(1 - h/R) - atan mu): "
             f"h/R {STEPS[1:]}, mu {GRIPS}",
             source="moments about the edge of a rigid wheel at its grip's end", known="derived here",
             unit="pull over load", tolerance=at_most(0.0, "an inequality"), slow=True)
def rigid_spun() -> Measured:
    """At 0.1 radii a wheel that sinks as far is over the edge before it feels it: no limit there."""
    cases = [(share, grip) for share in STEPS[1:] for grip in GRIPS]
    return Measured([rigid_spun_peak(*case) for case in cases], [float(spun(*case).max()) for case in cases])


@GROUP.check("spun over a step, finite elements",
             f"Largest pull over load of a wheel that spins its way over the rounded step: h/R {STEPS}, mu {GRIPS}",
             source="plane finite elements of large strain with Coulomb friction, same sink on a flat",
             known="derived here", unit="pull/load",
             tolerance=absolute(0.15, "the tread of the ring gives along the ground; its make is assumed"), slow=True)
def ring_spun() -> Measured:
    """The case of a crawler: every wheel drives as hard as it can."""
    rings, laws = [], []
    for share in STEPS:
        rings += spun_ring(FOAM, share, usual()[2], GRIPS, PLACES).max(axis=1).tolist()
        laws += [float(spun(share, grip).max()) for grip in GRIPS]
    return Measured(rings, laws, note=_told(laws, rings))


@GROUP.check("push over a step, membrane limit",
             f"A tyre that stiffens as it is pressed asks for more than a membrane of constant pressure: h/R {STEPS}",
             source="pressure times plumb length of the step inside the circle, load held", known="derived here",
             unit="pull/load", tolerance=at_least(0.0, "an inequality; the rigid wheel is the other end"), slow=True)
def membrane() -> Measured:
    """The lower bound."""
    sink = usual()[2]
    return Measured([membrane_peak(share, sink) for share in STEPS], [pushed(share, 0.0)[1] for share in STEPS])
