"""From a squish table to the law along one ray from the axle: the tyre as the simulation's force element.

A flat plate pressed to deflection d shortens the ray at angle t from the vertical to ``(R - d) / cos t``; a ray
shortened by s pushes with ``f(s)`` along itself. With n rays round in each row, averaged over the wheel's turn,

    F(d) = n / (2 pi) * sum over rows of integral f(R_row - (R - d) / cos t) cos t dt.

This is the radial-spring tyre of Davis (Vehicle System Dynamics 4(1), 1975, 55-69); on any other ground the simulation
takes the pressure field that gives the same load (docs/tyre_law.md). F is linear in f, so
rising pieces with non-negative weights fitted to the measured loads (Lawson & Hanson's NNLS) give a rising law.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.optimize import brentq, nnls

from models.errors import BuildSheetError
from models.massprops import GRAVITY
from models.required import required
from models.rigid import TyreRing
from models.spec import Tyre
from models.vector import Vector

Law = Callable[[Vector], Vector]

MINDLIN_RUBBER = 2.0 / 3.0
"""Tangential over normal stiffness of an elastic contact, 2(1 - nu)/(2 - nu), for rubber (nu = 1/2): Mindlin, J. Appl.
Mech. 16 (1949) 259-268, from memory."""
TREAD_TO_CARCASS = 5.0
"""Stiffness along the ground of the tread blocks over that of the carcass under them (assumed). It makes the slip
stiffness of the scenario's tyres 24 to 26 times their load; road tyres lie between 15 and 30 (from memory)."""
SAMPLES = 192
GOOD_FIT = 0.01
BOTTOMING_FROM = 0.85
"""Share of the way to the rim at which the tread starts to be pinched against it."""
BOTTOMING_GAIN = 8.0
"""Slope at the rim over the slope before pinching (assumed; a pinched tread is much stiffer than a casing)."""
_KNOTS = 49
_SMOOTHING = 0.05
_QUADRATURE = (20, 20)
"""Panels and points in each."""


@dataclass(frozen=True)
class TyreShape:
    """The tyre before it has a law: SI."""

    radius: float
    width: float
    rim_radius: float
    n_round: int
    row_y: Vector
    row_radius: Vector

    @property
    def room(self) -> float:
        """From tread to rim, m."""
        return self.radius - self.rim_radius


@dataclass(frozen=True)
class TyreLaw:
    """The law along one ray, tabulated, and how well it returns the table it was fitted to."""

    step: float
    """m."""
    force: Vector
    """(SAMPLES,) N."""
    misfit: float
    """Largest relative error of the plate load over the fitted rows."""


def tyre_shape(tyre: Tyre, n_round: int = 72, rows: int = 3, crown_share: float = 1.0) -> TyreShape:
    """Lay out tread elements round the tyre and across it; a crowned tread falls off as the square of the distance."""
    radius, width = tyre.outside_diameter_mm / 2000.0, tyre.width_mm / 1000.0
    rim = required(tyre.rim_diameter_mm, "tyres.rim_diameter_mm") / 1000.0
    y = width * ((np.arange(rows) + 0.5) / rows - 0.5)
    crown = crown_share * tyre.crown_mm / 1000.0
    return TyreShape(radius, width, rim / 2.0, n_round, y, radius - crown * (2.0 * y / width) ** 2)


def plate_load(shape: TyreShape, law: Law, deflection: float) -> float:
    """Load (N) on a flat plate at this deflection (m), averaged over the wheel's turn."""
    return rows_load(shape.row_radius, shape.n_round, law, shape.radius - deflection)


def rows_load(row_radius: Vector, n_round: int, law: Law, height: float) -> float:
    """Load (N) on a flat plate this far (m) under the wheel centre, for rows of rays of these radii."""
    total = 0.0
    for radius in row_radius:
        if radius > height:
            half = math.acos(height / radius)
            # Gauss-Legendre in a variable that clusters at the ends, where f may start with infinite slope.
            t = half * np.sin(0.5 * np.pi * _NODES)
            weight = _WEIGHTS * half * 0.5 * np.pi * np.cos(0.5 * np.pi * _NODES)
            total += float(np.sum(weight * law(np.maximum(radius - height / np.cos(t), 0.0)) * np.cos(t)))
    return total * n_round / (2.0 * math.pi)


def _panels(panels: int, points: int) -> tuple[Vector, Vector]:
    """Nodes and weights on -1 to 1: Gauss-Legendre in equal panels, since one high-order rule takes long to set up."""
    nodes, weights = np.polynomial.legendre.leggauss(points)
    middle = (np.arange(panels) + 0.5) * 2.0 / panels - 1.0
    return (middle[:, None] + nodes / panels).ravel(), np.tile(weights / panels, panels)


_NODES, _WEIGHTS = _panels(*_QUADRATURE)


def plate_table(tyre: Tyre) -> tuple[Vector, Vector]:
    """Give the loads (N) at deflections (m) that the law must return: measured, or drawn from the stiffnesses.

    Without a squish table the casing's stiffness acts from first touch and the foam's in addition from its gap on.

    :raises BuildSheetError: neither a table nor a stiffness, or the room to the rim is too small.
    """
    room = tyre_shape(tyre).room
    if tyre.squish is not None:
        rows = sorted((mm / 1000.0, grams / 1000.0 * GRAVITY) for grams, mm in tyre.squish)
        d, load = np.array(rows).T
        if d[-1] >= room:
            raise BuildSheetError(
                f"the tyre is squished by {1000 * d[-1]:.1f} mm but its rim is only {1000 * room:.1f} mm away.",
                remedy="Check squish, outside_diameter_mm and rim_diameter_mm.", field="tyres.squish",
            )
        return d, load
    if tyre.stiffness_n_per_mm is None:
        raise BuildSheetError(
            "the tyre has neither a squish table nor a stiffness.",
            remedy="Press the wheel on a kitchen scale and give squish = [[grams, mm], ...], or stiffness_n_per_mm.",
            field="tyres.squish",
        )
    d = np.linspace(0.08, 0.7, 14) * room
    gap = 0.0 if tyre.foam_gap_mm is None else tyre.foam_gap_mm / 1000.0
    foam = 0.0 if tyre.foam_stiffness_n_per_mm is None else tyre.foam_stiffness_n_per_mm * 1000.0
    return d, tyre.stiffness_n_per_mm * 1000.0 * d + foam * np.maximum(d - gap, 0.0)


@lru_cache(maxsize=64)
def fit_tyre(tyre: Tyre, n_round: int = 72, rows: int = 3) -> tuple[TyreShape, TyreLaw]:
    """Fit the law on the tyre as it stands, or with less crown where the crown contradicts the plate loads.

    A crowned tread flattens under little load. Where a rising law on the full crown cannot return the loads that
    were measured, the loads win and the crown is given up by quarters.

    :raises BuildSheetError: as :func:`plate_table`.
    """
    best: tuple[TyreShape, TyreLaw] | None = None
    for share in (1.0, 0.75, 0.5, 0.25, 0.0) if tyre.crown_mm > 0.0 else (1.0,):
        shape = tyre_shape(tyre, n_round, rows, share)
        law = fit_law(tyre, shape)
        if best is None or law.misfit < best[1].misfit:
            best = shape, law
        if law.misfit < GOOD_FIT:
            break
    assert best is not None
    return best


def fit_law(tyre: Tyre, shape: TyreShape) -> TyreLaw:
    """Fit the law along one ray to the plate loads and tabulate it as far as the rim.

    The law is piecewise linear on knots that crowd towards the first touch, with non-negative rises; the table is
    met as closely as that allows, and where it says nothing a weak penalty on third differences (P-splines: P. H. C.
    Eilers, B. D. Marx, M. Durban, SORT 39(2), 2015, 149-186) keeps the law smooth and continues it.

    :raises BuildSheetError: as :func:`plate_table`.
    """
    d, load = plate_table(tyre)
    knots = shape.room * np.linspace(0.0, 1.0, _KNOTS) ** 2
    rises = [_rise(low, high) for low, high in itertools.pairwise(knots)]
    # Relative residuals: a kitchen scale and a caliper are off by percents, and the light end matters as much.
    columns = np.array([[plate_load(shape, rise, float(x)) for rise in rises] for x in d]) / load[:, None]
    smooth = np.diff(np.eye(_KNOTS - 1), 2, axis=0) * float(np.mean(columns)) * _SMOOTHING
    weights, _ = nnls(np.vstack([columns, smooth]), np.concatenate([np.ones(len(d)), np.zeros(len(smooth))]))
    step = shape.room / (SAMPLES - 1)
    s: Vector = np.linspace(0.0, shape.room, SAMPLES)
    casing: Vector = np.interp(s, knots, np.concatenate([[0.0], np.cumsum(weights)])).astype(np.float64)
    force: Vector = casing + _bottoming(s, casing, shape.room, float(d[-1]))
    back = np.array([plate_load(shape, tabulated(step, force), float(x)) for x in d])
    return TyreLaw(step, force, float(np.max(np.abs(back / load - 1.0))))


def _rise(low: float, high: float) -> Law:
    """Zero up to ``low``, one from ``high`` on, straight between."""
    return lambda s: np.clip((s - low) / (high - low), 0.0, 1.0)


def tabulated(step: float, force: Vector) -> Law:
    """Read a tabulated law as the simulation does: linear between samples, the last slope continued."""
    slope = (force[-1] - force[-2]) / step
    end = step * (len(force) - 1)
    grid = np.arange(len(force)) * step

    def law(s: Vector) -> Vector:
        return np.asarray(np.interp(s, grid, force) + slope * np.maximum(s - end, 0.0))

    return law


def _bottoming(s: Vector, force: Vector, room: float, measured: float) -> Vector:
    """Extra force where the tread is pinched on the rim; it starts beyond anything that was measured."""
    start = max(BOTTOMING_FROM * room, min(1.05 * measured, 0.95 * room))
    slope = float(np.interp(start, s, np.gradient(force, s)))
    # Quadratic: slope grows from zero to gain x slope at the rim.
    return np.asarray(BOTTOMING_GAIN * slope * np.maximum(s - start, 0.0) ** 2 / (2.0 * (room - start)))


def static_squish(shape: TyreShape, law: TyreLaw, load: float) -> float:
    """Deflection (m) on a flat plate under a load (N), by Brent's method; at most the room to the rim."""
    curve = tabulated(law.step, law.force)
    if load <= 0.0 or plate_load(shape, curve, shape.room) <= load:
        return 0.0 if load <= 0.0 else shape.room
    return float(brentq(lambda squish: plate_load(shape, curve, squish) - load, 0.0, shape.room, xtol=1e-10))


def plate_stiffness(shape: TyreShape, law: TyreLaw, deflection: float) -> float:
    """Slope of the plate load (N/m) at a deflection (m)."""
    curve = tabulated(law.step, law.force)
    h = min(0.02 * shape.room, 0.5 * deflection)
    return (plate_load(shape, curve, deflection + h) - plate_load(shape, curve, deflection - h)) / (2.0 * h)


def touching_elements(shape: TyreShape, deflection: float) -> float:
    """Mean number of tread elements on the ground at a deflection (m) on a flat plate."""
    to_plate = shape.radius - deflection
    return sum(
        shape.n_round / math.pi * math.acos(to_plate / radius) for radius in shape.row_radius if radius > to_plate
    )


@dataclass(frozen=True)
class WheelState:
    """What the tyre carries at ride height and what its tread has to move; SI."""

    load: float
    """N on this wheel."""
    bounce_mass: float
    """kg that bounces on this tyre."""
    spin_inertia: float
    """kg m^2 of wheel and tyre about the axle."""


def tyre_ring(tyre: Tyre, shape: TyreShape, law: TyreLaw, wheel: WheelState, time_step: float = 1e-3) -> TyreRing:
    """Make the force element of one wheel from its sheet and fitted law.

    Tread and carcass together are as stiff along the ground as Mindlin's contact makes rubber at the static load; the
    tread's share is spread over the elements that touch.
    Damping is viscous with the loss factor's loss at the frequency of the truck bouncing on its tyres, where it has to
    be right for settling; slower motion (rolling at crawling speed) is damped less than a constant loss factor would.

    :param time_step: s; stiffness along the ground and damping are kept inside its stability limits: with the mass m
        that the tread moves (bounce mass and spin inertia over squared radius in series), k dt^2 < m / 2 and, for
        the damping c = damping_time k, c dt < m / 2.
    """
    d = max(static_squish(shape, law, wheel.load), 0.02 * shape.room)
    touching = max(touching_elements(shape, d), 1.0)
    stiffness = plate_stiffness(shape, law, d)
    moved = 1.0 / (1.0 / wheel.bounce_mass + shape.radius**2 / wheel.spin_inertia)
    along = min(MINDLIN_RUBBER * stiffness, 0.5 * moved / time_step**2)
    loss = required(tyre.loss_factor, "tyres.loss_factor")
    damping_time = min(loss / math.sqrt(stiffness / wheel.bounce_mass), 0.5 * moved / (along * time_step))
    return TyreRing(
        n_round=shape.n_round,
        row_y=shape.row_y,
        row_radius=shape.row_radius,
        rim_radius=shape.rim_radius,
        law_step=law.step,
        law_force=law.force,
        bristle_stiffness=(1.0 + TREAD_TO_CARCASS) * along / touching,
        carcass_stiffness=(1.0 + 1.0 / TREAD_TO_CARCASS) * along,
        damping_time=damping_time,
        grip=required(tyre.grip, "tyres.grip"),
        grip_pressure=1000.0 * required(tyre.grip_at_kpa, "tyres.grip_at_kpa"),
        grip_exponent=required(tyre.grip_pressure_exponent, "tyres.grip_pressure_exponent"),
        element_area=2.0 * math.pi * shape.radius / shape.n_round * shape.width / len(shape.row_y),
    )
