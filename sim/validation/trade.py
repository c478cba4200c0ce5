"""What the trade knows, as simulated experiments: direction and size, with a paired interval."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np

from models import scenario
from models.assemble import rigid_model
from models.change import load_change
from models.configuration import configure
from models.drive import KGCM
from models.massprops import GRAVITY, wheel_loads
from models.rigid import WHEEL_BODIES, RigidModel
from models.sheet import load_sheet
from models.spec import Part, Sheet
from sim.physics.arrays import M_SERVO, M_SERVO_LOAD, W_TOUCH
from sim.physics.simulation import STEP, Simulation
from sim.trial.tilt_table import cg_place, flat, lift_off, standing
from sim.validation.check import Group, Measured, at_least, between, one, shown
from sim.validation.convergence import climbable
from sim.validation.driving import radius
from sim.validation.pairs import Trial, differences, drawn, paired
from sim.validation.tipping import formula
from sim.validation.truck import sheet, truck, with_grip

GROUP = Group("trade", "Facts of the trade, as simulated experiments")
NONE: Final = "common practice"
of_the_trade = partial(GROUP.check, source=NONE, known="unsourced")
DIRECTION = "the 95 % interval of the paired difference leaves zero out"


def changed(name: str, *changes: str) -> Sheet:
    """One of the scenario's sheets with changes of the scenario."""
    made = [load_change(scenario.change(name, change)) for change in changes]
    return configure(load_sheet(scenario.DATA / f"{name}.toml"), made).sheet


def tips(low: str) -> Trial:
    """Return a trial: tilt at which the truck tips to that side on its own springs and tyres, deg, grip no limit."""

    def trial(model: RigidModel) -> float:
        with standing(with_grip(model, 5.0), rest=0.5) as simulation:
            return math.degrees(lift_off(simulation, low, math.radians(formula(model, low) - 10.0)))

    return trial


def _tips(changed_sheet: Sheet, base: Sheet, low: str) -> list[float]:
    return differences(changed_sheet, base, tips(low))


def loaded(name: str, where: str, grams: float) -> Sheet:
    """Return the truck with grams more in its front wheels (both together) or on top of its chassis."""
    base = sheet(name)
    if where == "wheels":
        old = next(part for part in base.parts if part.body == "front_wheels")
        new = old.model_copy(update={"name": "more wheel", "mass_each_g": grams / 2.0})
    else:
        shell = next(part for part in base.parts if part.name == "body shell")
        x, y, z = shell.at_mm
        top = (x, y, z + 0.5 * shell.size_mm[2])
        new = Part(name="roof load", mass_g=grams, at_mm=top, size_mm=(40.0, 40.0, 5.0))
    return base.model_copy(update={"parts": (*base.parts, new)})


@of_the_trade("heavy wheels, side-hill",
              "20 g more in a 1/24's front wheels raise the side-hill angle at which it tips",
              unit="deg", tolerance=shown(DIRECTION), slow=True)
def heavy_wheels() -> Measured:
    """Paired over draws."""
    return paired(_tips(loaded("gundi", "wheels", 20.0), sheet("gundi"), "left"))


@of_the_trade("wheels against roof, side-hill",
              "The same 20 g low in the wheels are worth more side-hill angle than on the roof, per gram",
              unit="deg/100 g", tolerance=shown(DIRECTION), slow=True)
def wheels_against_roof() -> Measured:
    """Difference per 100 g."""
    found = _tips(loaded("gundi", "wheels", 20.0), loaded("gundi", "top", 20.0), "left")
    return paired([5.0 * d for d in found])


def battery_ahead(by_mm: float = 120.0) -> Sheet:
    """The 1/10 with its pack and tray moved forward at the same height."""
    base = sheet("takin")
    parts = []
    for part in base.parts:
        if part.name in ("battery", "battery tray"):
            x, y, z = part.at_mm
            part = part.model_copy(update={"at_mm": (x + by_mm, y, z)})
        parts.append(part)
    return base.model_copy(update={"parts": tuple(parts)})


def _front(of: Sheet) -> float:
    return wheel_loads(of).front_percent


@of_the_trade("battery forward, bias",
              "A pack of a 1/10 moved forward by 120 mm shifts 2 to 4 points of bias, no gram added",
              unit="points", tolerance=between("the range builders see for moves of 60 to 150 mm"))
def battery_bias() -> Measured:
    """Weighed."""
    return Measured((2.0, 4.0), (_front(battery_ahead()) - _front(sheet("takin")),))


@of_the_trade("battery forward, climb", "The same move lets it climb 1 to 2 deg steeper before it tips back",
              unit="deg", tolerance=between("the range builders see"), slow=True)
def battery_climb() -> Measured:
    """Mean of the paired differences; its interval is in the note."""
    found = paired(_tips(battery_ahead(), sheet("takin"), "back"))
    low, high = found.interval or (math.nan, math.nan)
    return Measured((1.0, 2.0), found.got, f"95 % interval {low:.2f} … {high:.2f}, {found.note}")


@of_the_trade("battery forward, descent", "The same move costs descent: it noses over earlier",
              unit="deg lost", tolerance=shown(DIRECTION), slow=True)
def battery_descent() -> Measured:
    """Paired over draws."""
    return paired([-d for d in _tips(battery_ahead(), sheet("takin"), "front")])


@of_the_trade(
    "bias and climb", "One point of front bias is worth 0.4 to 0.5 deg of climb",
    unit="deg/point",
    tolerance=between("the range from the rigid formula at all three scales; soft trucks may do a little less"),
    slow=True,
)
def bias_and_climb() -> Measured:
    """The move above, simulated, over its points of bias."""
    points = _front(battery_ahead()) - _front(sheet("takin"))
    found = np.array(_tips(battery_ahead(), sheet("takin"), "back")) / points
    return Measured((0.4, 0.5), (float(found.mean()),), f"n = {len(found)} pairs, sd {found.std(ddof=1):.3f}")


def _loss(name: str) -> float:
    model = truck(name)
    return formula(model, "back") - tips("back")(model)


@of_the_trade("compliance, 1/24", "Springs and tyres cost a 1/24 up to about 4 deg of the rigid climb angle",
              unit="deg", tolerance=between("0 to 4"), slow=True)
def compliance_small() -> Measured:
    """Invented 1/24 of the scenario."""
    return Measured((0.0, 4.0), (_loss("gundi"),))


@GROUP.check("compliance, 1/10", "Springs and tyres cost a 1/10 about 4 to 9 deg of the rigid climb angle",
             source=NONE + "; inferred from magazine trucks whose height nobody measured", known="unsourced",
             unit="deg", tolerance=between("4 to 9"), slow=True)
def compliance_large() -> Measured:
    """Invented 1/10 of the scenario."""
    return Measured((4.0, 9.0), (_loss("takin"),))


def patch_mm(name: str, *changes: str) -> float:
    """Length of the front tyres' contact patch at rest, mm: touching elements of a row times their spacing."""
    model = rigid_model(changed(name, *changes))
    with standing(model) as simulation:
        touching = float(simulation.wheels[:2, W_TOUCH].mean()) / len(model.tyres[0].row_y)
        height = float(simulation.points[0, list(WHEEL_BODIES[:2]), 2].mean())
    half = 0.5 * touching * 2.0 * math.pi / model.tyres[0].n_round
    return 2000.0 * height * math.tan(half)


@of_the_trade("cut foams, patch", "Softer (cut) front foams have a longer front contact patch: three trucks",
              unit="mm longer",
              tolerance=at_least(0.0, "an inequality; longer by at least one spacing of elements of a 1/24, 2 mm"))
def foams_patch() -> Measured:
    """At rest on the level."""
    got = [patch_mm(name, "cut-front-foams") - patch_mm(name) for name in ("gundi", "dassie", "takin")]
    return Measured([2.0] * 3, got)


@of_the_trade("cut foams, ledge", "At the same grip, cut front foams take the 1/24's front axle up a higher ledge",
              unit="h/R gained", tolerance=shown("interval of two standard errors over starts leaves zero out"),
              slow=True)
def foams_ledge() -> Measured:
    """Grip without pressure exponent, so that only the shape of the contact differs."""
    cut, cut_error = climbable(rigid_model(changed("gundi", "cut-front-foams")))
    usual, usual_error = climbable(truck("gundi"))
    gain, error = cut - usual, 2.0 * math.hypot(cut_error, usual_error)
    return Measured((0.0,), (gain,), f"{usual:.3f} to {cut:.3f}", (gain - error, gain + error))


def circle(model: RigidModel, time: float = 9.0) -> float:
    """Diameter (mm) of the rear axle middle's path at full lock and a slow crawl on the level."""
    with Simulation(model, flat(2.0), step=STEP) as simulation:
        simulation.place(0.0, 0.0, 0.0)
        simulation.command(0.0, 0.0, True)
        simulation.advance(300)
        duty = 0.12 / radius(model) * model.drive.rear_reduction * model.drive.kt / model.drive.voltage
        places = []
        for k in range(round(time / 0.02)):
            # A quarter more than the unloaded duty: scrub and gears have to be overcome.
            simulation.command(min(1.25 * duty + 0.05, 1.0), 1.0, False)
            simulation.advance(round(0.02 / STEP))
            if k > 0.3 * time / 0.02:
                places.append(simulation.points[0, 0, :2].copy())
    x, y = np.array(places).T
    # Algebraic circle fit (Kasa): x^2 + y^2 = 2 a x + 2 b y + c.
    a, b, c = np.linalg.lstsq(np.column_stack([2 * x, 2 * y, np.ones_like(x)]), x * x + y * y, rcond=None)[0]
    return 2000.0 * math.sqrt(c + a * a + b * b)


@of_the_trade("overdrive, turning circle",
              "Front overdrive makes the turning circle at full lock smaller, all axles locked",
              unit="mm smaller", tolerance=shown(DIRECTION), slow=True)
def overdrive_circle() -> Measured:
    """1/18, paired over draws."""
    over, base = changed("dassie", "front-overdrive"), sheet("dassie")
    found = [-d for d in differences(over, base, circle, 5)]
    usual = circle(rigid_model(drawn(base, 0)))
    return paired(found, f"of about {usual:.0f} mm")


def climb_limit(model: RigidModel, mu: float = 0.8) -> float:
    """Steepest slope (deg) up which the truck still crawls, slope growing 4 deg/s under it, tyres of this grip."""
    with Simulation(with_grip(model, mu), flat(4.0), step=STEP) as simulation:
        simulation.place(-3.0, 0.0, 0.0)
        simulation.command(0.0, 0.0, True)
        simulation.advance(300)
        duty = 0.25 / radius(model) * model.drive.rear_reduction * model.drive.kt / model.drive.voltage
        angle, before = math.radians(15.0), 0.0
        for k in range(4000):
            angle += math.radians(4.0) * 0.01
            simulation.set_gravity((-GRAVITY * math.sin(angle), 0.0, -GRAVITY * math.cos(angle)))
            simulation.command(min(1.2 * duty + 0.3, 1.0), 0.0, False)
            simulation.advance(10)
            now = float(cg_place(simulation)[0])
            if k > 30 and now < before:
                return math.degrees(angle)
            before = now
    return math.nan


@of_the_trade("overdrive, climb",
              "Front overdrive pulls better on a climb: the slope at which the truck stops gaining ground",
              unit="deg gained", tolerance=shown(DIRECTION), slow=True)
def overdrive_climb() -> Measured:
    """1/18 on an even slope, mu 0.8, paired over draws."""
    over, base = changed("dassie", "front-overdrive"), sheet("dassie")
    found = differences(over, base, climb_limit, 5)
    return paired(found, f"of about {climb_limit(rigid_model(drawn(base, 0))):.1f} deg")


@of_the_trade("wide hubs, side-hill", "Wider hubs raise the side-hill angle at which the truck tips",
              unit="deg", tolerance=shown(DIRECTION), slow=True)
def hubs_side() -> Measured:
    """1/24, 5 mm wider on each side, paired over draws."""
    return paired(_tips(changed("gundi", "wide-hubs"), sheet("gundi"), "left"))


def servo_work(model: RigidModel) -> float:
    """Largest load (kg cm) at the knuckles while the wheels of a standing truck are turned to full lock."""
    largest = 0.0
    with standing(model) as simulation:
        simulation.command(0.0, 1.0, True)
        for _ in range(800):
            simulation.advance(1)
            largest = max(largest, abs(float(simulation.memory[M_SERVO_LOAD])))
    return largest / KGCM


@of_the_trade("wide hubs, servo", "Wider hubs make the servo work harder to turn the wheels at rest",
              unit="kg cm more", tolerance=shown(DIRECTION), slow=True)
def hubs_servo() -> Measured:
    """1/24 with a servo that does not stall, paired over draws."""

    def strong(model: RigidModel) -> float:
        steering = replace(model.steering, stall_torque=20.0 * model.steering.stall_torque)
        return servo_work(replace(model, steering=steering))

    found = differences(changed("gundi", "wide-hubs"), sheet("gundi"), strong)
    return paired(found, f"of about {strong(rigid_model(drawn(sheet('gundi'), 0))):.2f} kg cm")


@of_the_trade("12.5 kg cm servo",
              "A 12.5 kg cm servo turns a 0.62 kg truck with its full weight on each front tyre, to full lock",
              unit="share of lock", tolerance=at_least(0.01, "the servo slows down over its last degree"))
def strong_servo() -> Measured:
    """1/18 brought to 0.62 kg, gravity raised until each front tyre carries the whole weight: twice what is claimed."""
    base = sheet("dassie")
    servo = base.servo.model_copy(update={"stall_kgcm": 12.5, "at_v": 6.0, "supply_v": 6.0})
    share = 0.62 / truck("dassie").mass
    parts = [
        part.model_copy(update={k: v * share for k in ("mass_g", "mass_each_g") if (v := getattr(part, k)) is not None})
        for part in base.parts
    ]
    model = rigid_model(base.model_copy(update={"servo": servo, "parts": tuple(parts)}))
    heavier = 2.0 / (float(model.cg()[0]) / model.wheelbase)
    with standing(model, rest=0.3) as simulation:
        simulation.set_gravity((0.0, 0.0, -heavier * GRAVITY))
        simulation.advance(500)
        simulation.command(0.0, 1.0, True)
        simulation.advance(1500)
        full = float(simulation.arrays.drive.steer_limit)
        turned = float(simulation.memory[M_SERVO]) / full
        load = abs(float(simulation.memory[M_SERVO_LOAD])) / model.steering.stall_torque
    return one(1.0, turned, f"both tyres together take {100 * load:.0f} % of its stall torque")
