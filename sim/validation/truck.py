"""Trucks to try things with: those of the scenario, random ones, and rigid ones for comparison with formulas."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np

from models import scenario
from models.assemble import rigid_model
from models.change import load_change
from models.configuration import configure
from models.defaults import resolve
from models.rigid import WHEEL_BODIES, RigidModel
from models.sheet import load_sheet
from models.spec import Axle, Sheet

STIFF = 100.0
"""Times stiffer than real are the tyres of a rigid truck."""
ROUND = 720
"""Tread elements round a rigid truck's wheel."""
FINE = 1.0e-4
"""s; the step that a stiff truck is run with: stiffness times step squared stays what it is for the soft one."""


@lru_cache(maxsize=8)
def sheet(name: str) -> Sheet:
    """One of the scenario's build sheets (gundi 1/24, dassie 1/18, takin 1/10), everything open filled in."""
    return resolve(load_sheet(scenario.DATA / f"{name}.toml"))


@lru_cache(maxsize=64)
def truck(name: str, *changes: str) -> RigidModel:
    """One of the scenario's trucks with changes of the scenario."""
    made = [load_change(scenario.change(name, change)) for change in changes]
    return rigid_model(configure(load_sheet(scenario.DATA / f"{name}.toml"), made).sheet)


def names() -> tuple[str, ...]:
    """Names of the scenario's trucks, smallest scale first."""
    return tuple(path.stem for path in scenario.builds())


def random_sheet(seed: int) -> Sheet:
    """One of the scenario's trucks with other masses, another track, and its chassis parts moved about."""
    rng = np.random.default_rng(seed)
    base = sheet(names()[seed % len(names())])
    length = base.wheelbase_mm
    wider = 1.0 + 0.12 * rng.uniform(-1.0, 1.0)
    parts = []
    for part in base.parts:
        grams = rng.uniform(0.7, 1.4)
        change: dict[str, object] = {
            key: value * grams for key in ("mass_g", "mass_each_g") if (value := getattr(part, key)) is not None
        }
        x, y, z = part.at_mm
        if part.body == "chassis":
            x, y, z = np.array(part.at_mm) + rng.uniform(-1.0, 1.0, 3) * length * np.array([0.03, 0.01, 0.04])
        elif part.body.endswith("wheels"):
            y *= wider
        parts.append(part.model_copy(update=change | {"at_mm": (float(x), float(y), float(z))}))

    def moved(axle: Axle) -> Axle:
        return axle.model_copy(update={"track_mm": axle.track_mm * wider})

    axles = base.axles.model_copy(update={"front": moved(base.axles.front), "rear": moved(base.axles.rear)})
    return base.model_copy(update={"parts": tuple(parts), "axles": axles, "name": f"random {seed}"})


def with_grip(model: RigidModel, grip: float) -> RigidModel:
    """Return the truck on tyres of this friction coefficient at any pressure."""
    return replace(model, tyres=_four([replace(t, grip=grip, grip_exponent=0.0) for t in model.tyres]))


def without_hull(model: RigidModel) -> RigidModel:
    """Return the truck with nothing but tyres to touch the ground."""
    hull = model.hull
    none = np.zeros((0, 3))
    bare = replace(
        hull, body=hull.body[:0], p_root=none, p_tip=none, stiffness=hull.stiffness[:0], grip=hull.grip[:0],
        part=hull.part[:0],
    )  # fmt: skip
    return replace(model, hull=bare)


def locked_suspension(model: RigidModel, step: float = FINE) -> RigidModel:
    """Return the truck with stops at both ends of no travel, as stiff as this time step allows, near critically damped.

    A stiffer spring would not do: springs only push, and an axle about to lift hangs in its shocks.
    """
    shocks = []
    for shock in model.shocks:
        end = "front" if shock.axle_body == 2 else "rear"
        moved = sum(body.mass for body in model.bodies if body.name.startswith(end))
        rate = 0.02 * moved / step**2
        damping = 0.7 * math.sqrt(rate * moved)
        shocks.append(replace(shock, bump=0.0, droop=0.0, stop_rate=rate, damping=damping))
    return replace(model, shocks=tuple(shocks))


DISC = 2.0e-4
"""m; width of a disc wheel: a thousandth of a track."""


def rigid_tyres(model: RigidModel, stiff: float = STIFF) -> RigidModel:
    """Return the truck on disc wheels without width, so many times harder, as high as the soft tyres stand."""
    heights = model.origins()[list(WHEEL_BODIES), 2]
    tyres = []
    for tyre, height in zip(model.tyres, heights, strict=True):
        rows = len(tyre.row_y)
        harder = stiff * tyre.n_round / ROUND
        tyres.append(replace(
            tyre,
            n_round=ROUND,
            row_y=np.asarray(1.0e-6 * (np.arange(rows) - rows // 2), dtype=np.float64),
            row_radius=np.full(rows, height),
            law_force=tyre.law_force * harder,
            bristle_stiffness=tyre.bristle_stiffness * harder,
            carcass_stiffness=tyre.carcass_stiffness * stiff,
            damping_time=6.0 * tyre.damping_time / math.sqrt(stiff),
            element_area=2.0 * math.pi * height / ROUND * DISC / rows,
        ))
    return replace(model, tyres=_four(tyres))


def rigid(model: RigidModel, grip: float = 5.0, stiff: float = STIFF) -> RigidModel:
    """Return the truck as the handbook sees it: one rigid body on four hard discs that do not slide.

    To be run with step ``FINE``, or less by the root of what ``stiff`` is above ``STIFF``.
    """
    return without_hull(with_grip(locked_suspension(rigid_tyres(model, stiff)), grip))


def _four(tyres: list) -> tuple:  # type: ignore[type-arg]
    a, b, c, d = tyres
    return a, b, c, d
