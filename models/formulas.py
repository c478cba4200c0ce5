"""Formula, source and limits of every number in :class:`models.statics.Statics`, for people to read."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Formula:
    """How a number comes about."""

    formula: str
    source: str
    leaves_out: str


_JAZAR = "R. N. Jazar, Vehicle Dynamics (Springer 2008), ch. 2"
_CFR = "49 CFR 523.2 (2015): tangents to the static loaded radius arc; the same geometry as ISO 612:1978"
_RIGID = "rigid truck: no squat, no tyre tuck, no speed; real trucks tip earlier"
_BARTON = "D. C. Barton, J. D. Fieldhouse, Automotive Chassis Engineering (Springer 2018), example E2.1"
_GILLESPIE = "T. D. Gillespie, Fundamentals of Vehicle Dynamics (SAE 1992), ch. 7 (from memory)"
_PLANE = "side view only: a bumper narrower than the truck counts as if it were full width"
_LINKS = "first order at ride height; changes over the travel"
_LEDGE = "M. G. Bekker, Theory of Land Locomotion (1956), vertical step (from memory; derived in models/ledge.py)"
_CREPT = "soft tyres wrap the edge and climb more; motor torque, speed, suspension, a hull that hangs up; square on"
_EQUILIBRIUM = "static equilibrium of the rigid model on its springs and tyres (own)"

FORMULAS: dict[str, Formula] = {
    "tip_deg": Formula("atan(lever from the centre of gravity to the tyre centres / height)",
                       f"static stability factor T / (2 h), NHTSA (65 FR 34998, 2000); up and down: {_JAZAR}", _RIGID),
    "stability_distance_mm": Formula(
        "least distance of the weight's line to an edge of the footprint",
        "static stability margin: R. B. McGhee, A. A. Frank, Math. Biosciences 3 (1968) 331-351 (from memory)",
        f"the height of the weight; {_RIGID}",
    ),
    "stability_rise_mm": Formula(
        "least over the edges of r (1 - cos t) cos s: rise of the centre of gravity before it goes over",
        "normalised energy stability: D. A. Messuri, C. A. Klein, IEEE J. Robotics and Automation RA-1 (1985) 132-141; "
        "S. Hirose, H. Tsukagoshi, K. Yoneda, CLAWAR 1998 (from memory)",
        f"what springs and tyres store; {_RIGID}",
    ),
    "climb_grip_deg": Formula("mu_f N_f + mu_r N_r = W sin(slope); tan(slope) = mu when both axles grip alike",
                              f"equilibrium in {_JAZAR}, eqs. 2.63-2.67",
                              "ledges, loose ground, wheels that spin; friction is the least known input"),
    "side_grip_deg": Formula("atan(friction, weighted with the axle loads)", "Coulomb friction",
                             "sidewalls that fold; the moment that turns the truck when one axle lets go first"),
    "front_ledge_mm": Formula("R (1 - cos p): level truck held by edge and rear wheels, T = mu N", _LEDGE, _CREPT),
    "rear_ledge_mm": Formula("the same, nose up with the front wheels on top, moments about the edge", _LEDGE, _CREPT),
    "ledge_mm": Formula("lesser of both axles'", _LEDGE, _CREPT),
    "open_ledge_mm": Formula("the same with equal torque at both axles", _LEDGE, _CREPT),
    "approach_deg": Formula("min over points ahead of asin(r / d) - atan2(r - y, x)", _CFR, _PLANE),
    "departure_deg": Formula("min over points behind of asin(r / d) - atan2(r - y, x)", _CFR, _PLANE),
    "breakover_deg": Formula("min over points between the axles of the sum of both tyres' angles", _CFR,
                             f"suspension travel; {_PLANE}"),
    "belly_clearance_mm": Formula("ground to the lowest hull point on the chassis", _CFR, "squat and tyre sink"),
    "front_axle_clearance_mm": Formula("ground to the lowest hull point on the axle", _CFR, "tyre sink"),
    "rear_axle_clearance_mm": Formula("ground to the lowest hull point on the axle", _CFR, "tyre sink"),
    "ramp_travel_index": Formula("1000 x distance up a 20 deg ramp / wheelbase when the first tyre lifts",
                                 f"common practice; position by {_EQUILIBRIUM}",
                                 "the wheel's pull on the ramp, tyres on their edges, links that bind"),
    "ramp_first_lift": Formula("first tyre without load on the ramp", _EQUILIBRIUM, "as the ramp travel index"),
    "steer_needed_kgcm": Formula(
        "both wheels: mu W sqrt(d^2 + (a/3)^2) + W d sin(i) cos(i) sin(lock)", _BARTON,
        "a tyre wedged in rock or a bound driveline needs several times as much; friction of the linkage",
    ),
    "steer_available_kgcm": Formula(
        "stall torque x supply voltage / its voltage x arm ratio",
        "torque in proportion to voltage (common practice, no source)",
        "sold figures are often optimistic; sagging supply; the linkage's angle at full lock",
    ),
    "wheel_speed_m_per_s": Formula("kV (V - I0 R) / reduction x loaded radius", "two-parameter motor model",
                                   "load, sagging pack, speed controller"),
    "wheel_torque_nm": Formula("60 / (2 pi kV) x (min(V / R, limit) - I0) x reduction x efficiency",
                               "two-parameter motor model", "heat: a stalled motor bears this for seconds only"),
    "climb_torque_deg": Formula("asin(torque / (r W))", "statics", "grip: see the slope by grip"),
    "overdrive_percent": Formula("front over rear wheel turns - 1, from teeth", "gear ratio", "tyre sizes"),
    "lead_percent": Formula("(C_f RM - C_r) / C_r with loaded radii",
                            "mechanical lead as published by makers of tractor tyres",
                            "rolling radius differs a little from loaded radius"),
    "turning_radius_mm": Formula("wheelbase x mean cotangent of both front angles (rear axle's middle)",
                                 f"Ackermann geometry; {_JAZAR.replace('ch. 2', 'ch. 7')} (from memory)",
                                 "slip: locked axles push wider, overdrive pulls tighter"),
    "outer_steer_deg": Formula("cot(outer) - cot(inner) = span / wheelbase, times the share", "Ackermann", "play"),
    "anti_squat_percent": Formula("100 x drive share x (z_IC / x_IC) / (h / l)", _GILLESPIE, _LINKS),
    "anti_lift_percent": Formula("100 x drive share x (z_IC / x_IC) / (h / l), front", _GILLESPIE, _LINKS),
    "front_roll_centre_mm": Formula("height of the roll axis over the axle", _GILLESPIE, _LINKS),
    "rear_roll_centre_mm": Formula("height of the roll axis over the axle", _GILLESPIE, _LINKS),
    "front_roll_steer": Formula("incline of the roll axis", _GILLESPIE, _LINKS),
    "rear_roll_steer": Formula("incline of the roll axis", _GILLESPIE, _LINKS),
    "front_drop_mm": Formula("ride height of the sheet less that at rest", _EQUILIBRIUM, "friction of the shocks"),
    "rear_drop_mm": Formula("ride height of the sheet less that at rest", _EQUILIBRIUM, "friction of the shocks"),
    "linkage_error_mm": Formula(
        "largest distance of the axle's middle, two joints against Newton's method on the four rod lengths",
        "closed-loop position solve (own)", "compared at the corners of bump, droop and roll",
    ),
    "linkage_error_deg": Formula(
        "largest difference of the axle's steer, as above", "closed-loop position solve (own)", "as above"
    ),
    "lean_deg": Formula("roll of the chassis at rest on level ground", _EQUILIBRIUM, "friction of the shocks"),
}
