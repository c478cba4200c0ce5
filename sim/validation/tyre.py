"""The tyre: load and patch on a flat, rolling over cleats and steps, and how many tread elements it takes."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from models.rigid import RigidModel, TyreRing
from models.stability import grip_under
from models.tyre import TyreShape, fit_tyre, plate_load, plate_table, static_squish, tabulated
from sim.physics.arrays import M_SIZE, U_DT, U_GRIP, U_SIZE, W_FX, W_FZ, W_SIZE, W_TOUCH, Motion, model_arrays
from sim.physics.ground_sampling import ground_arrays
from sim.physics.tyre_force import tyre_forces
from sim.physics.tyre_patch import tread_arrays
from sim.physics.tyre_pressure import STRIDE
from sim.validation.check import Group, Measured, absolute, at_most, relative
from sim.validation.truck import names, sheet, truck
from terrain.heightfield import Heightfield

GROUP = Group("tyre", "Tyre")
Array = NDArray[np.float64]
R = 0.06


class Rig:
    """One tyre on a spindle over a ground, at rest, without friction unless given: what a tyre test bench measures."""

    def __init__(self, model: RigidModel, ground: Heightfield, grip: float = 1e-9) -> None:
        """Take the front left tyre of a truck."""
        tyres = [replace(t, grip=grip, grip_exponent=0.0) for t in model.tyres]
        bench = replace(model, tyres=(tyres[0], tyres[1], tyres[2], tyres[3]))
        self.tyre = tyres[0]
        self._a = model_arrays(bench, np.zeros(3), np.eye(3))
        self._ground = ground_arrays(ground)
        self._count = len(model.bodies)

    def force(self, x: float, height: float, turn: float = 0.0, *, y: float = 0.0, yaw: float = 0.0) -> Array:
        """Wheel read-out row with the axle at (x, y, height), m, turned by ``turn`` and steered by ``yaw``."""
        a = self._a
        controls = np.zeros(U_SIZE)
        controls[U_DT], controls[U_GRIP] = 1e-3, 1.0
        c, s = math.cos(turn), math.sin(turn)
        steered = np.array([[math.cos(yaw), -math.sin(yaw), 0.0], [math.sin(yaw), math.cos(yaw), 0.0], [0.0, 0.0, 1.0]])
        rolled = np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])
        rotation = np.tile(steered @ rolled, (self._count, 1, 1))
        origin, spin, velocity, wrench = (np.zeros((self._count, 6)) for _ in range(4))
        origin[:, 0], origin[:, 1], origin[:, 2] = x, y, height
        wheels = np.zeros((4, W_SIZE))
        tyre_forces(
            controls, np.zeros(M_SIZE), a.tyre, a.pressure, *tread_arrays(self.tyre), self._ground,
            Motion(rotation, origin, spin, velocity), wrench, wheels,
        )  # fmt: skip
        return np.asarray(wheels[0])

    def spun(self, x: float, height: float, slip: float) -> Array:
        """Wheel read-out row once every bristle slides: held at (x, height), the tread run backward by ``slip``; m."""
        steps, pace = 24, slip / 24.0 / float(self.tyre.row_radius.max())
        a, dt = self._a, 1e-3
        controls = np.zeros(U_SIZE)
        controls[U_DT], controls[U_GRIP] = dt, 1.0
        origin, spin, velocity = (np.zeros((self._count, 6)) for _ in range(3))
        origin[:, 0], origin[:, 2], spin[:, 1] = x, height, pace / dt
        memory, treads = np.zeros(M_SIZE), tread_arrays(self.tyre)
        for k in range(steps):
            c, s = math.cos(k * pace), math.sin(k * pace)
            rotation = np.tile([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]], (self._count, 1, 1))
            wrench, wheels = np.zeros((self._count, 6)), np.zeros((4, W_SIZE))
            tyre_forces(
                controls, memory, a.tyre, a.pressure, *treads, self._ground,
                Motion(rotation, origin, spin, velocity), wrench, wheels,
            )  # fmt: skip
        return np.asarray(wheels[0])

    def lift(self, x: float, load: float, turn: float = 0.0) -> float:
        """Height of the axle (m) at which the tyre carries a vertical load (N) there, by bisection."""
        low, high = 0.5 * float(self.tyre.row_radius.max()), 2.0 * float(self.tyre.row_radius.max())
        while high - low > 1e-7:
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self.force(x, middle, turn)[W_FZ] > load else (low, middle)
        return 0.5 * (low + high)


def profile(height: float, width: float, *, spacing: float = 0.0005, half: float = 0.12) -> Heightfield:
    """Flat ground with a bar across at x = 0; a bar without end for an infinite width is a step."""
    x = np.arange(-half, half + spacing / 2.0, spacing)
    z = np.where((x >= 0.0) & (x <= width), height, 0.0)
    return Heightfield.of(np.repeat(z[:, None], 3, axis=1), (-half, -0.1), max(spacing, 0.0005))


def closed_form(d: float) -> float:
    """Load over stiffness per radian (m) of a ring of linear springs pressed by d (m) on a flat."""
    p = math.acos(1.0 - d / R)
    return 2.0 * (R * math.sin(p) - (R - d) * p)


@GROUP.check("radial springs on a flat", "Load of a ring of linear radial springs, R 60 mm, pressed by 2, 4, 6, 10 mm",
             source="closed form 2 [R sin p - (R - d) p], cos p = 1 - d / R; quadrature agrees", known="derived here",
             unit="m", tolerance=relative(1e-6, "printed digits"))
def springs_on_flat() -> Measured:
    """The quadrature that squish tables are fitted with."""
    shape = TyreShape(R, 0.02, 0.02, 360, np.zeros(1), np.full(1, R))
    got = [plate_load(shape, lambda s: s * 2.0 * math.pi / 360.0, d) for d in (0.002, 0.004, 0.006, 0.010)]
    return Measured((6.89684e-4, 1.954020e-3, 3.595892e-3, 7.763941e-3), got)


def linear_ring(model: RigidModel, n_round: int = 720) -> RigidModel:
    """Return the truck on tyres of linear springs, 1 N/m per radian and R 60 mm, in one plane."""
    rings: list[TyreRing] = []
    for tyre in model.tyres:
        rows = len(tyre.row_y)
        rings.append(replace(
            tyre,
            n_round=n_round,
            row_y=np.asarray(1e-9 * (np.arange(rows) - rows // 2), dtype=np.float64),
            row_radius=np.full(rows, R),
            rim_radius=0.01,
            law_step=0.0005,
            law_force=np.arange(101) * 0.0005 * 2.0 * math.pi / n_round / rows,
            element_area=2.0 * math.pi * R / n_round * 0.045 / rows,
        ))
    return replace(model, tyres=(rings[0], rings[1], rings[2], rings[3]))


def over_a_step(rig: Rig, height: float, column: int) -> float:
    """Mean of a read-out on level ground over places within one step of the surface integral."""
    places = -0.05 + STRIDE * R * (np.arange(12) + 0.5) / 12.0
    return float(np.mean([rig.force(float(x), height)[column] for x in places]))


@GROUP.check("pressure field on a flat",
             "The simulation's kernel integrates the field of linear springs to the same closed form",
             source="closed form 2 [R sin p - (R - d) p], cos p = 1 - d / R", known="derived here",
             unit="m",
             tolerance=relative(5e-3, "the law is tabulated every half millimetre; mean over places within a step"))
def kernel_on_flat() -> Measured:
    """The field that a ring of springs is the rays of."""
    rig = Rig(linear_ring(truck("gundi")), profile(0.0, 0.0))
    depths = (0.002, 0.004, 0.006, 0.010)
    return Measured([closed_form(d) for d in depths], [over_a_step(rig, R - d, W_FZ) for d in depths])


@GROUP.check("patch length", "Length of ground contact: chord 2 sqrt(2 R d - d^2) for 2, 4, 6, 10 mm",
             source="geometry: 30.7, 43.1, 52.3, 66.3 mm", known="derived here",
             unit="mm", tolerance=absolute(0.5, "pieces count whole where their middle touches"))
def patch_length() -> Measured:
    """Area over the tyre's width."""
    rig = Rig(linear_ring(truck("gundi")), profile(0.0, 0.0))
    per_row = 1000.0 * 2.0 * math.pi * R / 720.0 / 3.0
    depths = (0.002, 0.004, 0.006, 0.010)
    return Measured((30.725, 43.081, 52.307, 66.332), [per_row * over_a_step(rig, R - d, W_TOUCH) for d in depths])


def _tables() -> list[tuple[str, float, float]]:
    rows = []
    for name in names():
        d, load = plate_table(sheet(name).tyres.front)
        rows += [(name, float(a), float(b)) for a, b in zip(d, load, strict=True)]
    return rows


@GROUP.check("squish tables", "The fitted law returns each row of three squish tables",
             source="the build sheets' own tables", known="derived here",
             unit="N", tolerance=relative(0.02, "a kitchen scale and a caliper are no better"))
def squish_tables() -> Measured:
    """Plate load by quadrature."""
    want, got = [], []
    for name, d, load in _tables():
        shape, law = fit_tyre(sheet(name).tyres.front)
        want.append(load)
        got.append(plate_load(shape, tabulated(law.step, law.force), d))
    return Measured(want, got)


@cache
def _usual(name: str, n_round: int = 72) -> RigidModel:
    """The truck with its front tyre fitted with another number of tread elements."""
    model = truck(name)
    shape, law = fit_tyre(sheet(name).tyres.front, n_round)
    ring = replace(
        model.tyres[0],
        n_round=n_round,
        row_y=shape.row_y,
        row_radius=shape.row_radius,
        law_step=law.step,
        law_force=law.force,
        element_area=model.tyres[0].element_area * model.tyres[0].n_round / n_round,
    )
    return replace(model, tyres=(ring, ring, ring, ring))


def rolled(rig: Rig, load: float, xs: Array, radius: float) -> Array:
    """Axle heights (m) while the tyre rolls along x at a constant vertical load."""
    return np.array([rig.lift(float(x), load, float(x) / radius) for x in xs])


def lifts(name: str, ground: Heightfield, n_round: int) -> tuple[Array, Array, float]:
    """Places (m), rise of the axle over the flat (m) and load (N) of a front tyre rolling over a bar or a step."""
    model = _usual(name, n_round)
    shape, law = fit_tyre(sheet(name).tyres.front, n_round)
    load = float(np.median(plate_table(sheet(name).tyres.front)[1]))
    flat = shape.radius - static_squish(shape, law, load)
    xs = np.linspace(-1.4 * flat, 1.4 * flat, 57)
    return xs, rolled(Rig(model, ground), load, xs, flat) - flat, load


@GROUP.check(
    "enveloping a cleat",
    "A tyre rolling over a cleat (height and width a tenth of its radius) lifts its axle by much less than the cleat",
    source="Davis, Vehicle System Dynamics 4 (1975): radial springs swallow short bumps; no figure given", known="read",
    unit="lift/height", tolerance=at_most(0.0, "a rigid wheel is lifted by the whole height: 1"),
)
def cleat() -> Measured:
    """Largest lift over the height of the cleat."""
    got = []
    for name in names():
        high = 0.1 * float(truck(name).tyres[0].row_radius.max())
        _, lift, _ = lifts(name, profile(high, high), 72)
        got.append(float(lift.max()) / high)
    return Measured([0.8] * len(got), got)


@GROUP.check("enveloping a step, reach",
             "A tyre starts to rise before its axle is over the step, by less than the rigid wheel's sqrt(2 R h - h^2)",
             source="geometry of a rigid wheel; Davis (1975) for the effective ground being lower and shorter",
             known="derived here",
             unit="reach/rigid reach", tolerance=at_most(0.0, "an inequality"))
def step_reach() -> Measured:
    """Where the lift passes a tenth of the step."""
    got = []
    for name in names():
        radius = float(truck(name).tyres[0].row_radius.max())
        high = 0.2 * radius
        xs, lift, _ = lifts(name, profile(high, 1.0), 72)
        rising = slice(0, int(np.argmax(lift > 0.5 * high)))
        start = float(np.interp(0.1 * high, lift[rising], xs[rising]))
        got.append(-start / math.sqrt(2.0 * radius * high - high * high))
    return Measured([1.0] * len(got), got)


@GROUP.check("step, far side", "Behind the step the axle stands higher by exactly the step",
             source="geometry", known="derived here",
             unit="mm", tolerance=absolute(0.05, "what a calliper shows"))
def step_far() -> Measured:
    """Mean over the last eighth of the way."""
    want, got = [], []
    for name in names():
        high = 0.2 * float(truck(name).tyres[0].row_radius.max())
        _, lift, _ = lifts(name, profile(high, 1.0), 72)
        want.append(1000.0 * high)
        got.append(1000.0 * float(lift[-7:].mean()))
    return Measured(want, got)


@GROUP.check(
    "number of tread elements",
    "Rolling over the step with 48 and 96 tread elements instead of 72: axle path, rms difference over the step",
    source="convergence in the number of tread elements", known="derived here",
    unit="% of step", tolerance=at_most(0.0, "three percent of the step is 0.2 mm for a 1/24"), slow=True,
)
def element_count() -> Measured:
    """Three trucks' front tyres, each law fitted anew."""
    got = []
    for name in names():
        high = 0.2 * float(truck(name).tyres[0].row_radius.max())
        ground = profile(high, 1.0)
        _, usual, _ = lifts(name, ground, 72)
        for count in (48, 96):
            _, other, _ = lifts(name, ground, count)
            got.append(100.0 * float(np.sqrt(np.mean((other - usual) ** 2))) / high)
    return Measured([3.0] * len(got), got)


@GROUP.check("grip over load", "Rubber grips less per load under more load: twice the pressure, factor 2^(-1/9)",
             source="Archard, Proc. R. Soc. A 243 (1957) 190, two-scale contact: 0.9259", known="from memory",
             unit="–", tolerance=absolute(5e-5, "printed digits"))
def grip_over_load() -> Measured:
    """The exponent that sheets without one get."""
    exponent = truck("takin").tyres[0].grip_exponent
    return Measured((0.9259,), (grip_under(1.0, 2.0, 1.0, exponent),))


@GROUP.check("load on a flat, kernel and quadrature", "Kernel and quadrature give the same load on a flat",
             source="the quadrature that squish tables are fitted with", known="derived here",
             unit="N",
             tolerance=relative(0.01, "mean over places within a step; a crown in three rows against a smooth one"))
def kernel_and_quadrature() -> Measured:
    """The refit to the squish tables: the field comes from the law along a ray, so that both carry the same."""
    want, got = [], []
    for name in names():
        shape, law = fit_tyre(sheet(name).tyres.front)
        rig = Rig(_usual(name), profile(0.0, 0.0))
        for share in (0.1, 0.2, 0.35):
            d = share * shape.room
            want.append(plate_load(shape, tabulated(law.step, law.force), d))
            places = -0.08 + STRIDE * shape.radius * (np.arange(8) + 0.5) / 8.0
            got.append(float(np.mean([rig.force(float(x), shape.radius - d)[W_FZ] for x in places])))
    return Measured(want, got)


def pushed(ground: Heightfield, share: float) -> tuple[float, float]:
    """Work over load times rise, and largest pull over load, of the 1/24's front tyre pushed along x over a step."""
    tyre = sheet("gundi").tyres.front
    radius, load = fit_tyre(tyre)[0].radius, float(np.median(plate_table(tyre)[1]))
    rig = Rig(truck("gundi"), ground)
    xs = np.linspace(-1.6 * radius, 0.9 * radius, 120)
    heights = [rig.lift(float(x), load) for x in xs]
    pull = -np.array([rig.force(float(x), z)[W_FX] for x, z in zip(xs, heights, strict=True)])
    return float(np.trapezoid(pull, xs)) / (load * share * radius), float(pull.max()) / load


def step_across(share: float, spacing: float) -> Heightfield:
    """A step, so many radii of the 1/24's front tyre high, whose face is one cell wide."""
    radius = fit_tyre(sheet("gundi").tyres.front)[0].radius
    x = np.arange(-0.08, 0.08 + spacing / 2.0, spacing)
    z = np.where(x > 3.0e-4, share * radius, 0.0)
    return Heightfield.of(np.repeat(z[:, None], round(0.05 / spacing), axis=1), (-0.08, -0.025), spacing)


@GROUP.check("push over a step, work",
             "Pushing a wheel without friction over a step costs load times height: h/R .1 .2 .4 .6 .8, 2 and 1 mm",
             source="conservation of energy", known="derived here",
             unit="work/(load h)", tolerance=absolute(0.03, "the grid's midpoints"), slow=True)
def push_work() -> Measured:
    """Quasi-static, constant load."""
    cases = [(share, spacing) for spacing in (0.002, 0.001) for share in (0.1, 0.2, 0.4, 0.6, 0.8)]
    return Measured([1.0] * len(cases), [pushed(step_across(share, spacing), share)[0] for share, spacing in cases])


@GROUP.check("push over a step, grid", "Largest pull over a step is the same on 1 and 0.5 mm as on 2 mm: h/R .2 and .6",
             source="convergence in the grid", known="derived here",
             unit="pull over that on 0.5 mm", tolerance=absolute(0.02, "what a builder may rely on"), slow=True)
def push_grid() -> Measured:
    """Half a millimetre is the finest."""
    got = []
    for share in (0.2, 0.6):
        finest = pushed(step_across(share, 0.0005), share)[1]
        got += [pushed(step_across(share, spacing), share)[1] / finest for spacing in (0.002, 0.001)]
    return Measured([1.0] * len(got), got)


@GROUP.check(
    "push over a step, rigid limit",
    "A soft wheel asks for less than the rigid wheel's sqrt(2 R h - h^2) / (R - h) at its sharpest: h/R .1 .2 .4 .6 .8",
    source="moments about the edge of a rigid wheel pushed at its axle", known="derived here",
    unit="pull over rigid pull", tolerance=at_most(0.0, "an inequality"), slow=True,
)
def push_rigid() -> Measured:
    """An upper bound; the tyre's sink lowers it."""
    got = []
    for share in (0.1, 0.2, 0.4, 0.6, 0.8):
        rigid = math.sqrt(2.0 * share - share**2) / (1.0 - share)
        got.append(pushed(step_across(share, 0.002), share)[1] / rigid)
    return Measured([1.0] * len(got), got)
