"""Under power: stall, wind-up between leading and following axle, and a wheel against a ledge."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq

from models.ledge import LedgeTruck, ledge_limits
from models.massprops import GRAVITY
from models.rigid import WHEEL_BODIES, RigidModel
from models.traction import wheel_torque
from models.tyre import TyreLaw, TyreShape, fit_tyre, static_squish, tabulated
from sim.physics.arrays import M_MOTOR_SPEED, M_SHAFT, W_FX, W_NORMAL
from sim.physics.simulation import STEP, Simulation
from sim.trial.tilt_table import cg_place, flat, standing
from sim.validation.check import Group, Measured, at_least, at_most, relative
from sim.validation.truck import FINE, STIFF, locked_suspension, names, rigid, sheet, truck, with_grip, without_hull
from terrain.heightfield import Heightfield

GROUP = Group("driving", "Under power")
Array = NDArray[np.float64]


def step_up(height: float, at: float, spacing: float, reach: float, face: float | None = None) -> Heightfield:
    """Level ground that rises by ``height`` before ``x = at`` over the width of a face (one cell without); m."""
    nx = round(2.0 * reach / spacing) + 1
    x = -reach + spacing * np.arange(nx)
    width = spacing if face is None else face
    at = width * round((at + reach) / width) - reach  # on a node of the grid that has it in one cell
    z = height * np.clip(np.round((x - at + width) / width, 9), 0.0, 1.0)
    return Heightfield.of(np.repeat(z[:, None], round(reach / spacing) + 1, axis=1), (-reach, -0.5 * reach), spacing)


def radius(model: RigidModel) -> float:
    """Height of the rear wheel centre over the ground at rest: the rolling radius, m."""
    return float(model.origins()[WHEEL_BODIES[2], 2])


def stalled(name: str) -> tuple[float, Array, Array, float]:
    """Push a truck against a wall, current rising slowly to a quarter of what could move its weight.

    Returns the torque promised by its motor and gears (N m), the four shafts' torques, the ground's moments about the
    four wheel axes and the sum of forces along x over the weight.
    """
    model = truck(name)
    drive, weight = model.drive, model.mass * GRAVITY
    gain = drive.kt * drive.rear_reduction * drive.efficiency
    current = 0.25 * weight * radius(model) / gain + drive.no_load_current
    model = without_hull(with_grip(replace(model, drive=replace(drive, current_limit=current)), 1.0))
    reach = float(model.tyres[0].row_radius.max())
    wall = step_up(4.0 * reach, model.wheelbase + reach + 0.003, 0.001, 0.5)
    with standing(model, ground=wall, rest=0.5) as simulation:
        for share in np.linspace(0.0, 1.0, 401):
            simulation.command(float(share) * current * drive.resistance / drive.voltage, 0.0, False)
            simulation.advance(10)
        simulation.advance(1000)
        wheels = list(WHEEL_BODIES)
        axes = simulation.frames[wheels][:, :, 1]
        moments = np.sum(axes * simulation.points[3, wheels, 3:6], axis=1)
        push = float(simulation.wheels[:, W_FX].sum()) / weight
        return wheel_torque(model.drive), simulation.memory[M_SHAFT : M_SHAFT + 4].copy(), moments, push


@GROUP.check("stall torque", "Against a wall the wheels get kT (I - I0) times reduction times efficiency: three trucks",
             source="motor constants: kT = 60 / (2 pi kV); efficiency is power out over power in", known="derived here",
             unit="N m", tolerance=relative(0.01, "the current is brought up in 400 steps"), slow=True)
def stall_torque() -> Measured:
    """Brought up slowly: a truck that runs into a wall winds up more and gear friction keeps it."""
    found = [stalled(name) for name in names()]
    return Measured([f[0] for f in found], [float(f[1].sum()) for f in found])


@GROUP.check(
    "torque balance at stall",
    "At stall each wheel's shaft torque equals the ground's moment on it, and the truck's forces along x cancel",
    source="equilibrium", known="derived here",
    unit="share", tolerance=at_most(0.0, "what is left after 1 s at rest"), slow=True,
)
def torque_balance() -> Measured:
    """Largest imbalance over the largest shaft torque, and over the weight."""
    worst, push = 0.0, 0.0
    for name in names():
        _, shafts, moments, along = stalled(name)
        worst = max(worst, float(np.abs(shafts + moments).max() / np.abs(shafts).max()))
        push = max(push, abs(along))
    return Measured((0.005, 0.005), (worst, push))


def led(model: RigidModel, lead: float) -> RigidModel:
    """Return the truck with front wheels turning faster by a share."""
    return replace(model, drive=replace(model.drive, front_reduction=model.drive.rear_reduction / (1.0 + lead)))


def cruise(model: RigidModel, speed: float, time: float, *, step: float = STEP) -> tuple[float, float, Array, Array]:
    """Drive straight on level ground: front and rear slip, mean forces along x (4,) and loads (4,) of the last half.

    Slip is tread speed over ground speed, less one. The throttle holds the motor at the speed asked for (m/s).
    """
    r, drive = radius(model), model.drive
    with Simulation(model, flat(3.0), step=step) as simulation:
        simulation.place(-2.5, 0.0, 0.0)
        simulation.command(0.0, 0.0, True)
        simulation.advance(round(0.3 / step))
        want, memory, forces, loads, turns = speed / r * drive.rear_reduction, 0.0, [], [], []
        bursts = round(time / 0.005)
        start = np.zeros(3)
        for k in range(bursts):
            error = (want - simulation.memory[M_MOTOR_SPEED]) * drive.kt / drive.voltage
            memory += 2.0 * error * 0.005 / 0.1
            duty = want * drive.kt / drive.voltage + error + memory
            simulation.command(float(np.clip(duty, -1.0, 1.0)), 0.0, False)
            simulation.advance(round(0.005 / step))
            if k == bursts // 2:
                start = cg_place(simulation)
            if k >= bursts // 2:
                forces.append(simulation.wheels[:, W_FX].copy())
                loads.append(simulation.wheels[:, W_NORMAL].copy())
                turns.append(simulation.memory[M_MOTOR_SPEED])
        ground = float(cg_place(simulation)[0] - start[0]) / (0.005 * (len(turns) - 1))
    motor = float(np.mean(turns))
    front, rear = (motor / n * r / ground - 1.0 for n in (drive.front_reduction, drive.rear_reduction))
    return front, rear, np.mean(forces, axis=0), np.mean(loads, axis=0)


@GROUP.check(
    "overdrive slip",
    "Locked axles straight ahead: front and rear tread differ in slip by the lead (6 %), shared between both axles",
    source="kinematics of locked axles: slip differs by the lead; no wind-up relief", known="derived here",
    unit="slip",
    tolerance=relative(0.02, "(1 + front slip) / (1 + rear slip) = 1 + lead exactly; both treads are as high"),
)
def overdrive_slip() -> Measured:
    """Both signs are in the note: the front one drives, the rear one brakes."""
    want, got, words = [], [], []
    for name in names():
        front, rear, _, _ = cruise(with_grip(led(truck(name), 0.06), 1.0), 0.15, 2.0)
        want.append(0.06)
        got.append((1.0 + front) / (1.0 + rear) - 1.0)
        words.append(f"{name} {100 * front:+.1f}/{100 * rear:+.1f}")
    return Measured(want, got, f"front/rear slip, %: {', '.join(words)}")


@GROUP.check(
    "overdrive scrub",
    "With a lead (200 %) far beyond what treads can give, the lighter axle slides and both axles pull apart by mu N",
    source="Coulomb friction and equilibrium along x", known="derived here",
    unit="N",
    tolerance=relative(0.05, "rolling resistance is a part of either axle's force, and the patch's entry never slides"),
    slow=True,
)
def overdrive_scrub() -> Measured:
    """Front pulls, rear is dragged, on each axle the mean of both magnitudes."""
    want, got = [], []
    for name in names():
        _, _, force, load = cruise(with_grip(led(truck(name), 2.0), 0.6), 0.15, 2.0)
        axle = np.array([load[:2].sum(), load[2:].sum()])
        want.append(0.6 * float(axle.min()))
        got.append(0.5 * float(force[:2].sum() - force[2:].sum()))
    return Measured(want, got)


def brush(slip: float, mu: float, shape: TyreShape, law: TyreLaw, squish: float, bristle: float) -> float:
    """Force (N) at a slip of a brush of the tyre's own tread elements: each row winds up from where it came in.

    What the law pushes along the ground because a ray leans counts against the same friction. ``bristle``: N/m of one
    of the ``n_round`` elements of a row. Integrated over the patch instead of counted.
    """
    force, density = 0.0, shape.n_round / (2.0 * math.pi)
    to_plate = shape.radius - squish
    curve = tabulated(law.step, law.force)
    for radius in shape.row_radius:
        if radius <= to_plate:
            continue
        edge = math.acos(to_plate / radius)
        angle = np.linspace(-edge, edge, 401)
        along = curve(radius - to_plate / np.cos(angle))
        limit = mu * along * np.cos(angle)
        # Angles run from the front, where the tread comes in and rays push back, to the rear.
        held = bristle * slip * to_plate * (angle + edge) + along * np.sin(angle)
        force += density * float(np.trapezoid(np.clip(held, -limit, limit), angle))
    return force


def brush_scrub(name: str, model: RigidModel, mu: float, lead: float) -> float:
    """Force (N) with which two axles of brush tyres pull apart at a lead, slip shared so that both forces are equal."""
    front_load = model.mass * GRAVITY * float(model.cg()[0]) / model.wheelbase
    loads = (front_load, model.mass * GRAVITY - front_load)
    axles = []
    for tyre, ring, load in zip(
        (sheet(name).tyres.front, sheet(name).tyres.rear), model.tyres[::2], loads, strict=True
    ):
        shape, law = fit_tyre(tyre)
        axles.append((shape, law, static_squish(shape, law, load / 2.0), ring.bristle_stiffness))

    def excess(front: float) -> float:
        rear = (1.0 + front) / (1.0 + lead) - 1.0
        return brush(front, mu, *axles[0]) + brush(rear, mu, *axles[1])

    return 2.0 * brush(brentq(excess, 0.0, lead), mu, *axles[0])


@GROUP.check(
    "overdrive brush",
    "At a lead of 6 % the axles pull apart as two brush tyres would: three trucks, mu 0.6",
    source="brush model: bristles wound up along the patch until they slip, under the law's own forces",
    known="derived here",
    unit="N",
    tolerance=relative(
        0.15, "damping presses the front of the patch, where the tread is not wound up yet; the brush has none"
    ),
    slow=True,
)
def overdrive_brush() -> Measured:
    """Front pulls, rear is dragged."""
    want, got = [], []
    for name in names():
        _, _, force, _ = cruise(with_grip(led(truck(name), 0.06), 0.6), 0.15, 8.0)
        want.append(brush_scrub(name, truck(name), 0.6, 0.06))
        got.append(0.5 * float(force[:2].sum() - force[2:].sum()))
    return Measured(want, got)


def ledge_limit(mu: float, model: RigidModel, axle: int = 0) -> float:
    """Height over wheel radius that a rigid truck's front (0) or rear axle can climb, wheels at the friction limit."""
    r, cg = radius(model), model.cg()
    found = ledge_limits(LedgeTruck((mu, mu), (r, r), model.wheelbase, float(cg[0]), float(cg[2])))
    return (found.front, found.rear)[axle] / r


def climbs(
    model: RigidModel, height: float, *, step: float, spacing: float = 0.001, speed: float = 0.04, shift: float = 0.0,
    axle: int = 0, face: float | None = None,
) -> bool:  # fmt: skip
    """Tell whether the front (0) or rear axle gets onto a ledge of this height (m), crept at by ``speed`` (m/s).

    ``shift``: m that the truck starts nearer to it, so that other tread elements meet the edge.
    """
    r = radius(model)
    edge = model.wheelbase + 1.25 * r
    drive = model.drive
    ground = step_up(height, edge, spacing, (1 + axle) * model.wheelbase + (3.0 + axle) * r, face)
    way = 6.0 * r + 1.3 * axle * model.wheelbase
    with standing(model, step=step, ground=ground, rest=0.3, x=shift) as simulation:
        want, memory = speed / r * drive.rear_reduction, 0.0
        for _ in range(round(way / speed / 0.005)):
            error = (want - simulation.memory[M_MOTOR_SPEED]) * drive.kt / drive.voltage
            memory += 2.0 * error * 0.005 / 0.1
            duty = want * drive.kt / drive.voltage + error + memory
            simulation.command(float(np.clip(duty, -1.0, 1.0)), 0.0, False)
            simulation.advance(round(0.005 / step))
            wheels = simulation.points[0, list(WHEEL_BODIES[2 * axle : 2 * axle + 2]), :3]
            if float(wheels[:, 2].min()) > height + 0.8 * r and float(wheels[:, 0].min()) > edge:
                return True
    return False


def ledge(
    model: RigidModel, *, step: float, spacing: float = 0.001, speed: float = 0.04, shift: float = 0.0, tries: int = 6,
    low: float = 0.1, high: float = 1.6, axle: int = 0, face: float | None = None,
) -> float:
    """Highest ledge over wheel radius that the front (0) or rear axle climbs, by bisection."""
    r = radius(model)
    for _ in range(tries):
        middle = 0.5 * (low + high)
        up = climbs(model, middle * r, step=step, spacing=spacing, speed=speed, shift=shift, axle=axle, face=face)
        low, high = (middle, high) if up else (low, middle)
    return 0.5 * (low + high)


MU_LEDGE = 0.5
_LEDGE = "quasi-static four-wheel-drive ledge limit, closed form and friction-cone linear programme"


@GROUP.check(
    "rigid wheel, ledge",
    f"A rigid truck (mu {MU_LEDGE}) never climbs a higher ledge with its front axle than statics allow",
    source=_LEDGE, known="derived here",
    unit="h/R",
    tolerance=at_most(0.05, "the few elements at an edge give half a millimetre (0.02 R), five bisections leave 0.01"),
    slow=True,
)
def rigid_ledge() -> Measured:
    """1/24; a rigid wheel chatters at the edge, so it may do less."""
    model = truck("gundi")
    limit = ledge_limit(MU_LEDGE, model)
    found = ledge(rigid(model, MU_LEDGE, 4.0 * STIFF), step=FINE / 2.0, speed=0.08, tries=5, low=0.3, high=0.8)
    return Measured((limit,), (found,), f"{100 * found / limit:.0f} % of the limit")


@GROUP.check(
    "rigid wheel, ledge, whole truck",
    f"Crept at by 0.03 m/s, a rigid truck (mu {MU_LEDGE}) gets its rear axle up as high as statics allow, nose up",
    source=_LEDGE, known="derived here",
    unit="h/R",
    tolerance=relative(0.03, "bisected to 0.005 R; at 0.08 m/s the swing of motor and truck gives a fifth more"),
    slow=True,
)
def whole_ledge() -> Measured:
    """1/24: front wheels first, which bear much more."""
    model = truck("gundi")
    found = ledge(
        rigid(model, MU_LEDGE, 4.0 * STIFF), step=FINE / 2.0, speed=0.03, tries=4, low=0.27, high=0.37, axle=1
    )
    return Measured((ledge_limit(MU_LEDGE, model, 1),), (found,))


def _ledges(sprung: bool) -> Measured:
    want, got, gain = [], [], []
    for name in names():
        model = truck(name)
        limit = ledge_limit(MU_LEDGE, model)
        bare = without_hull(with_grip(model, MU_LEDGE))
        step = STEP if sprung else STEP / 4.0
        bare = bare if sprung else locked_suspension(bare, step)
        want.append(limit)
        got.append(ledge(bare, step=step, speed=0.08, low=0.3, high=1.2))
        gain.append(f"{name} {100 * (got[-1] / limit - 1):+.0f} %")
    return Measured(want, got, f"beyond the rigid wheel: {', '.join(gain)}")


@GROUP.check(
    "soft tyre, ledge",
    f"On their real tyres and locked suspension (mu {MU_LEDGE}) trucks beat the rigid wheel: wrapping the edge is grip",
    source=_LEDGE, known="derived here",
    unit="h/R", tolerance=at_least(0.007, "an inequality; six bisections resolve 0.007"), slow=True,
)
def soft_ledge() -> Measured:
    """Hull off and axles locked, so that only tyres differ from the formula."""
    return _ledges(sprung=False)


@GROUP.check("soft truck, ledge", f"With springs as well (mu {MU_LEDGE}) trucks are still not below the rigid wheel",
             source=_LEDGE, known="derived here",
             unit="h/R", tolerance=at_least(0.007, "an inequality; six bisections resolve 0.007"), slow=True)
def sprung_ledge() -> Measured:
    """Hull off."""
    return _ledges(sprung=True)
