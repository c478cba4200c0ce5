"""Handbook numbers: stability, slopes, clearances, weighing, solids, motors and gears against published ones."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np

from models.articulation import ramp_index
from models.bench.compliance import roll_gradient
from models.bench.lifting import axle_share, cg_height, lift_angle
from models.clearance import Wheel, breakover_angle, point_angle
from models.drive import KGCM, torque_constant
from models.massprops import MassProperties, combined, point_mass, shape_inertia
from models.stability import axle_loads_on_climb, climb_by_grip, tip_angles
from models.steergeometry import FrontWheel, jacking_moment, outer_angle, scrub_moment, turning_radius
from models.traction import lead_percent, no_load_speed, wheel_torque
from sim.validation.check import Group, Measured, absolute, between, one, relative
from sim.validation.truck import truck

GROUP = Group("statics", "Statics, weighing and gears")
PRINTED = "the printed digits"
G = 9.81
"""m/s^2, as the textbooks take it."""
deg, rad = math.degrees, math.radians


@GROUP.check(
    "tilt angle of five cars", "Tilt-table angle of five static stability factors: 1.06, 1.13, 1.15, 1.19, 1.20",
    source="NHTSA, Rollover Prevention, 65 FR 34998 (1 June 2000), ch. V.A: SSF = T / 2h; the angle is atan(SSF)",
    known="read",
    unit="deg", tolerance=absolute(0.005, PRINTED),
)
def tilt_angle() -> Measured:
    """Track 2, height 1 / SSF."""
    factors = (1.06, 1.13, 1.15, 1.19, 1.20)
    got = []
    for ssf in factors:
        contacts = np.array([[1.0, 1.0], [1.0, -1.0], [-1.0, 1.0], [-1.0, -1.0]])
        got.append(tip_angles(contacts, np.array([0.0, 0.0, 1.0 / ssf])).in_degrees().left)
    return Measured((46.67, 48.49, 48.99, 49.96, 50.19), got)


@GROUP.check("half a g of tilt", "A vehicle that tips at half a g tips on a table at about 27 deg",
             source="SAE J2180, tilt-table procedure (abstract)", known="read",
             unit="deg", tolerance=absolute(0.5, "the standard says approximately 27 degrees"))
def half_a_g() -> Measured:
    """T / 2h = 0.5."""
    contacts = np.array([[1.0, 0.5], [1.0, -0.5], [-1.0, 0.5], [-1.0, -0.5]])
    return one(27.0, tip_angles(contacts, np.array([0.0, 0.0, 1.0])).in_degrees().right)


@GROUP.check("small truck, four directions",
             "Track 200, wheelbase 300, centre 10 mm ahead of the middle and 80 mm high",
             source="force-angle geometry of Papadopoulos & Rey (ICRA 1996), own numbers", known="derived here",
             unit="deg", tolerance=absolute(5e-5, PRINTED))
def four_directions() -> Measured:
    """Left, right, back, front."""
    contacts = np.array([[0.3, 0.1], [0.3, -0.1], [0.0, 0.1], [0.0, -0.1]])
    a = tip_angles(contacts, np.array([0.16, 0.0, 0.08])).in_degrees()
    return Measured((51.3402, 51.3402, 63.4349, 60.2551), (a.left, a.right, a.back, a.front))


@GROUP.check("roll gradient", "Roll of a sprung mass per lateral acceleration: 1280 kg, 0.365 m, 28650 N m/rad",
             source="Barton & Fieldhouse, Automotive Chassis Engineering (Springer 2018), p. 174, eq. 3.18",
             known="read",
             unit="rad s^2/m", tolerance=absolute(5e-5, PRINTED))
def gradient() -> Measured:
    """Book: 0.0194."""
    return one(0.0194, roll_gradient(1280.0, 0.365, 28650.0, G))


@GROUP.check("wheel loads of a car", "Front and rear wheel loads: 890 kg, a1 0.78 m, wheelbase 2.35 m",
             source="Jazar, Vehicle Dynamics (Springer 2008), ch. 2, ex. 1", known="read",
             unit="N", tolerance=absolute(0.5, PRINTED))
def wheel_loads_of_a_car() -> Measured:
    """On the level."""
    front, rear = axle_loads_on_climb(890.0 * G, 0.78, 2.35 - 0.78, 0.5, 0.0)
    return Measured((2916.5, 1449.0), (front / 2.0, rear / 2.0))


@GROUP.check("axle loads on a slope",
             "49050 N, wheelbase 2.25 m, centre 1.0 m ahead of the rear axle and 1.5 m high, 10 deg nose up",
             source="equilibrium of moments about the lower wheels (own numbers)", known="derived here",
             unit="N", tolerance=absolute(0.05, PRINTED))
def axle_loads_on_a_slope() -> Measured:
    """Front and rear axle."""
    return Measured((15790.5, 32514.3), axle_loads_on_climb(49050.0, 1.25, 1.0, 1.5, rad(10.0)).tolist())


@GROUP.check("slope limit by drive",
             "Steepest climb by front, rear and all-wheel drive: wheelbase 2.5, centre mid and 0.6 m high, mu 0.8",
             source="equilibrium in Jazar (2008), eqs. 2.63-2.67; his printed front result (2.68) has a misprint",
             known="derived here",
             unit="deg", tolerance=absolute(5e-4, PRINTED))
def slope_limit() -> Measured:
    """Closed forms, confirmed by root finding."""
    got = [
        deg(climb_by_grip((0.8, 0.8), 1.25, 1.25, 0.6, driven))
        for driven in ((True, False), (False, True), (True, True))
    ]
    return Measured((18.550, 26.338, 38.660), got)


@GROUP.check("approach angle of a point",
             "Points 0.80 m ahead and 0.45 m high, 0.95 m and 0.50 m, against a wheel of 0.35 m loaded radius",
             source="49 CFR 523.2 (2015): tangent to the static loaded radius arc", known="read",
             unit="deg", tolerance=absolute(5e-5, PRINTED))
def approach() -> Measured:
    """Geometry of the definition."""
    got = (deg(point_angle(0.80, 0.45, 0.35)), deg(point_angle(0.95, 0.50, 0.35)))
    return Measured((32.8544, 30.3133), got)


@GROUP.check(
    "breakover of a flat belly",
    "Belly 0.20 m over the ground in the middle of a 2.6 m wheelbase, loaded radius 0.35 m",
    source="49 CFR 523.2 (2015): supplement of the angle of two tangents; the shortcut 2 atan(2c / l) gives 17.49",
    known="read",
    unit="deg", tolerance=absolute(5e-5, PRINTED),
)
def breakover() -> Measured:
    """Two tangents from the middle of the belly."""
    return one(17.8620, deg(breakover_angle(np.array([[1.3, 0.20]]), Wheel(2.6, 0.35), Wheel(0.0, 0.35))))


@GROUP.check("ramp travel index", "62 in up a 20 deg ramp on a 94 in wheelbase, 72 in on 93 in, 1500 mm on 2500 mm",
             source="clubs' definition 1000 d / wheelbase, d along the ramp; their examples 659, 774, 600",
             known="unsourced",
             unit="index", tolerance=absolute(1.0, "published values are cut off, 659.57 is given as 659"))
def ramp() -> Measured:
    """The rise is the distance times sin 20."""
    cases = ((62.0, 94.0), (72.0, 93.0), (1500.0, 2500.0))
    return Measured((659.0, 774.0, 600.0), [ramp_index(d * math.sin(rad(20.0)), base) for d, base in cases])


@GROUP.check("axle lift angle", "Wheelbase 110 in, one axle raised by 18 in: distance along the ground and slope",
             source="right triangle: cos and tan of asin(18 / 110); a worked example gives 108.5 in, .1659",
             known="unsourced",
             unit="in, –", tolerance=relative(5e-4, PRINTED))
def lift() -> Measured:
    """Slope over the ground, not over the wheelbase."""
    angle = lift_angle(18.0, 110.0, 12.0, 12.0)
    return Measured((108.5, 0.1659), (110.0 * math.cos(angle), math.tan(angle)))


@GROUP.check(
    "centre of gravity by axle lift",
    "19.62 N, wheelbase 0.30 m, centre 90 mm high, 25 deg: load added on the scale, and height back from it",
    source="moments about the raised axle: h = R + (l / W) dF cot(angle), the axle lift of ISO 10392; own numbers",
    known="derived here",
    unit="N, m", tolerance=relative(1e-6, PRINTED),
)
def lifted_height() -> Measured:
    """Round trip."""
    radii = (0.06, 0.06)
    level, up = (axle_share(0.14, 0.09, a, 0.30, radii, "front") for a in (0.0, rad(25.0)))
    return Measured((0.914896, 0.09), (19.62 * (up - level), cg_height(up, 0.14, rad(25.0), 0.30, radii, "front")))


@GROUP.check("inertia of a box", "10 kg, 0.1 x 0.4 x 0.9 m",
             source="integral of y^2 + z^2 over the box: m (b^2 + c^2) / 12; own numbers", known="derived here",
             unit="kg m^2", tolerance=absolute(5e-7, PRINTED))
def box() -> Measured:
    """Three principal moments."""
    return Measured((0.808333, 0.683333, 0.141667), np.diag(shape_inertia("box", 10.0, (0.1, 0.4, 0.9))).tolist())


@GROUP.check("inertia of cylinders",
             "2 kg, radius 50, width 120 mm, solid and with a 60 mm bore: along and across the axis",
             source="integrals: m (R^2 + r^2) / 2 along, m (3 (R^2 + r^2) + L^2) / 12 across; own numbers",
             known="derived here",
             unit="kg m^2", tolerance=absolute(1e-12, "closed form"))
def cylinder() -> Measured:
    """Axis along y."""
    solid = np.diag(shape_inertia("cylinder", 2.0, (0.1, 0.12, 0.1)))
    hollow = np.diag(shape_inertia("ring", 2.0, (0.1, 0.12, 0.1), 0.06))
    return Measured((0.0025, 0.00365, 0.0034, 0.0041), (solid[1], solid[0], hollow[1], hollow[0]))


@GROUP.check("composite height and inertia",
             "Masses 1.2, 0.5, 0.3 kg at 100, 50, 200 mm; 2 kg of own inertia 0.01 at 0.3 m from its axis",
             source="parallel-axis theorem", known="derived here",
             unit="m, kg m^2", tolerance=relative(1e-12, "closed form"))
def composite() -> Measured:
    """0.1025 m and 0.190 kg m^2."""
    pieces = [point_mass(m, (0.0, 0.0, z)) for m, z in ((1.2, 0.10), (0.5, 0.05), (0.3, 0.20))]
    body = MassProperties(2.0, np.array([0.3, 0.0, 0.0]), np.eye(3) * 0.01)
    # A mirror image puts the common centre on the axis: twice the moment about it.
    both = combined([body, replace(body, cg=-body.cg)])
    return Measured((0.1025, 0.190), (float(combined(pieces).cg[2]), float(both.inertia[1, 1]) / 2.0))


@GROUP.check("motor torque constant", "kT of 5700, 2300 and 1300 rpm/V",
             source="power balance of an ideal motor: kT = 60 / (2 pi kV)", known="derived here",
             unit="N m/A", tolerance=relative(5e-6, PRINTED))
def motor_constant() -> Measured:
    """Six figures."""
    return Measured((1.67532e-3, 4.15187e-3, 7.34561e-3), [torque_constant(kv) for kv in (5700, 2300, 1300)])


@GROUP.check("no-load speed", "5700 rpm/V at 11.1 V, without load",
             source="power balance of an ideal motor: kV = 60 / (2 pi kT)", known="derived here",
             unit="rpm", tolerance=absolute(0.5, PRINTED))
def no_load() -> Measured:
    """Reduction 1, radius 1 m."""
    motor = replace(truck("takin").drive, kt=torque_constant(5700), voltage=11.1, no_load_current=0.0)
    return one(63270.0, no_load_speed(replace(motor, rear_reduction=1.0), 1.0) * 60.0 / (2.0 * math.pi))


@GROUP.check("wheel force at stall", "1300 rpm/V, 7.4 V, 0.1 ohm, 40:1, efficiency 0.8, radius 55 mm",
             source="F = torque N eta / R (own numbers)", known="derived here",
             unit="N", tolerance=absolute(0.05, PRINTED))
def stall_force() -> Measured:
    """316.3 N."""
    line = replace(
        truck("takin").drive,
        kt=torque_constant(1300),
        voltage=7.4,
        resistance=0.1,
        no_load_current=0.0,
        current_limit=1e6,
        rear_reduction=40.0,
        efficiency=0.8,
    )
    return one(316.3, wheel_torque(line) / 0.055)


@GROUP.check("servo torque unit", "One kg cm in N m",
             source="standard gravity, 3rd CGPM (1901)", known="read",
             unit="N m", tolerance=relative(1e-12, "exact"))
def kgcm() -> Measured:
    """9.80665 x 0.01."""
    return one(0.0980665, KGCM)


@GROUP.check("mechanical lead", "Rolling circumferences 1.000 and 1.330 m, gears 1.366",
             source="definition of mechanical lead (Cf RM - Cr) / Cr; number computed", known="derived here",
             unit="%", tolerance=absolute(5e-4, PRINTED))
def lead() -> Measured:
    """Front over rear."""
    return one(2.707, lead_percent(1.000, 1.330, 1.366))


@GROUP.check("Ackermann", "Outer angle and turning radius: wheelbase 0.313, kingpins 0.18 m apart, inner wheel 40 deg",
             source="all wheels' normals meet on the rear axle's line: cot(outer) - cot(inner) = w / l; own numbers",
             known="derived here",
             unit="deg, m", tolerance=relative(2e-5, PRINTED))
def ackermann() -> Measured:
    """29.509 deg and 0.46302 m."""
    return Measured((29.509, 0.46302), (deg(outer_angle(rad(40), 0.18, 0.313)), turning_radius(rad(40), 0.18, 0.313)))


@GROUP.check(
    "steering moment at rest",
    "1200 kg on a wheel, mu 0.58, offset 25 mm, patch 250 mm, inclination 12 deg: scrub, and jacking at 28 and 45 deg",
    source="Barton & Fieldhouse (Springer 2018), p. 82, ex. E2.1: 594, 28, 42 N m", known="read",
    unit="N m", tolerance=absolute(0.5, PRINTED),
)
def steering_moment() -> Measured:
    """A van."""
    van = FrontWheel(1200.0 * G, 0.58, math.pi * 0.25**2 / 4.0, 0.025, rad(12.0))
    return Measured(
        (594.0, 28.0, 42.0), (scrub_moment(van), jacking_moment(van, rad(28)), jacking_moment(van, rad(45)))
    )


@GROUP.check(
    "brass at the front hubs",
    "46 g at the front hubs of a 1/24 truck that tips back at 49 deg: gain of the rigid formula (assumed: 480–560 g, "
    "wheelbase 140–150 mm, 48–52 % front)",
    source="one builder's before and after, 49 to 53 deg; test error not stated",
    known="unsourced",
    unit="deg",
    tolerance=between("3.3 to 4.2 deg is what every plausible truck gives; 4 deg was measured"),
)
def brass() -> Measured:
    """All combinations up to 520 g; the heaviest are in the note."""
    got: list[float] = []
    heavy: list[float] = []
    for mass, base, front in itertools.product((0.480, 0.520, 0.560), (0.140, 0.145, 0.150), (0.48, 0.50, 0.52)):
        x = front * base
        stock = MassProperties(mass, np.array([x, 0.0, x / math.tan(rad(49.0))]), np.zeros((3, 3)))
        after = combined([stock, point_mass(0.046, (base, 0.0, 0.028))])
        gain = deg(math.atan2(after.cg[0], after.cg[2])) - 49.0
        (got if mass < 0.55 else heavy).append(gain)
    return Measured((3.3, 4.2), got, f"at 560 g {min(heavy):.1f}–{max(heavy):.1f} deg")
