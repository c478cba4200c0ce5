"""The step and the grid: what halving them changes. The defaults are chosen from this study."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from models.rigid import RigidModel
from models.tyre import fit_tyre
from sim.physics.simulation import STEP
from sim.trial.tilt_table import lift_off, standing
from sim.validation.check import Group, Measured, absolute, relative
from sim.validation.driving import ledge, radius
from sim.validation.tipping import formula
from sim.validation.truck import names, sheet, truck, with_grip, without_hull
from terrain.heightfield import Heightfield

GROUP = Group("convergence", "Convergence in step, grid and tread elements")
CELL = 0.002
"""m; the grid that obstacles are made with."""
MU = 0.5
TRIES = 9
"""Bisections of a ledge limit: 0.9 radii over 2^9 is 0.2 percent of a radius, a third of a percent of the limit."""
STARTS = 8
"""Starts within one spacing of tread elements that a ledge limit is averaged over."""
SMALL = "gundi"


def ripples(spacing: float, half: float = 0.3) -> Heightfield:
    """Bumpy ground of waves 40 and 55 mm long and 1 mm high, sampled on this grid (m)."""
    x = np.arange(-half, half + spacing / 2.0, spacing)
    z = 0.0005 * np.outer(np.sin(2.0 * np.pi * x / 0.040), np.ones_like(x))
    z += 0.0005 * np.outer(np.ones_like(x), np.sin(2.0 * np.pi * x / 0.055 + 1.0))
    return Heightfield.of(z, (-half, -half), spacing)


def side_tip(model: RigidModel, *, step: float = STEP, cell: float | None = None) -> float:
    """Tilt at lift-off (deg), on a plane or on bumpy ground of this grid."""
    ground = None if cell is None else ripples(cell)
    soft = with_grip(model, 5.0)
    with standing(soft, step=step, ground=ground, rest=0.5) as simulation:
        return math.degrees(lift_off(simulation, "left", math.radians(formula(model, "left") - 12.0)))


def climbable(model: RigidModel, *, step: float = STEP, cell: float = CELL) -> tuple[float, float]:
    """Highest ledge over wheel radius for the front axle: mean over ``STARTS`` starts, and its standard error."""
    bare = without_hull(with_grip(model, MU))
    spacing = 2.0 * math.pi * radius(model) / model.tyres[0].n_round
    shifts = spacing * (0.17 + np.arange(STARTS) / STARTS)
    limits = [
        ledge(bare, step=step, spacing=cell, speed=0.08, shift=float(s), tries=TRIES, low=0.3, high=1.2, face=CELL)
        for s in shifts
    ]
    return float(np.mean(limits)), float(np.std(limits, ddof=1) / math.sqrt(STARTS))


def _change(usual: tuple[float, float], *others: tuple[float, float]) -> Measured:
    words = ", ".join(f"{mean:.3f} ± {error:.3f}" for mean, error in (usual, *others))
    return Measured(
        [mean for mean, _ in others], [usual[0]] * len(others), f"default and others, ± standard error: {words}"
    )


def with_elements(name: str, n_round: int) -> RigidModel:
    """Return the truck on tyres fitted anew with this many tread elements round."""
    model, tyres = truck(name), sheet(name).tyres
    rings = []
    for ring, tyre in zip(model.tyres, (tyres.front, tyres.front, tyres.rear, tyres.rear), strict=True):
        shape, law = fit_tyre(tyre, n_round)
        share = ring.n_round / n_round
        rings.append(replace(
            ring,
            n_round=n_round,
            row_y=shape.row_y,
            row_radius=shape.row_radius,
            law_step=law.step,
            law_force=law.force,
            bristle_stiffness=ring.bristle_stiffness * share,
            element_area=ring.element_area * share,
        ))
    return replace(model, tyres=(rings[0], rings[1], rings[2], rings[3]))


@GROUP.check("side tip, half the step", "Side-tip angle of three trucks at 1 ms and at 0.5 ms",
             source="convergence in the time step", known="derived here",
             unit="deg", tolerance=absolute(0.2, "finer than a protractor"), slow=True)
def tip_step() -> Measured:
    """Soft trucks."""
    models = [truck(name) for name in names()]
    return Measured([side_tip(m, step=STEP / 2.0) for m in models], [side_tip(m) for m in models])


@GROUP.check("side tip, half the grid",
             "Side-tip angle of three trucks on bumpy ground (1 mm, waves of 40 and 55 mm) on grids of 2 mm and 1 mm",
             source="convergence in the grid", known="derived here",
             unit="deg", tolerance=absolute(0.2, "finer than a protractor"), slow=True)
def tip_grid() -> Measured:
    """Soft trucks."""
    models = [truck(name) for name in names()]
    return Measured([side_tip(m, cell=CELL / 2.0) for m in models], [side_tip(m, cell=CELL) for m in models])


_LEDGE = f"Ledge limit of the 1/24's front axle (mu {MU}, mean of {STARTS} starts)"
_PAPER = "one percent of a ledge is what a stack of paper is good for; single starts scatter by a tenth, see the note"


@GROUP.check("ledge, half the step", f"{_LEDGE} at 1 ms and at 0.5 ms",
             source="convergence in the time step", known="derived here",
             unit="h/R", tolerance=relative(0.01, _PAPER), slow=True)
def ledge_step() -> Measured:
    """Soft truck, hull off."""
    return _change(climbable(truck(SMALL)), climbable(truck(SMALL), step=STEP / 2.0))


@GROUP.check("ledge, half the grid", f"{_LEDGE} on grids of 2 mm and 1 mm",
             source="convergence in the grid", known="derived here",
             unit="h/R", tolerance=relative(0.01, _PAPER), slow=True)
def ledge_grid() -> Measured:
    """The face is as wide on both: a cell of the coarser."""
    return _change(climbable(truck(SMALL)), climbable(truck(SMALL), cell=CELL / 2.0))


@GROUP.check("ledge, number of tread elements", f"{_LEDGE} with 72, 48 and 96 tread elements round",
             source="convergence in the number of tread elements", known="derived here",
             unit="h/R", tolerance=relative(0.05, "at an edge two or three elements grip for the wheel"), slow=True)
def ledge_elements() -> Measured:
    """48 first, then 96."""
    return _change(climbable(truck(SMALL)), *(climbable(with_elements(SMALL, count)) for count in (48, 96)))
