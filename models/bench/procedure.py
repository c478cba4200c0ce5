"""Bench measurements as short guided procedures: what it takes, the steps, the caution, how good it is, the formula."""

from __future__ import annotations

from dataclasses import dataclass

TILT_CAUTION = (
    "Clamp the hinge, have a second pair of hands or a loose strap catch the truck, and keep fingers out of the hinge: "
    "a falling truck hurts, and so does a board."
)
STALL_CAUTION = (
    "Never hold a motor or servo at stall for more than 2 s: it burns out, and gears let go without warning. Guard "
    "fingers, hair and eyes; stop at the first smell; let it cool before the next try."
)
PACK_CAUTION = (
    "Take the lithium pack out whenever power is not needed: disconnected before tools come near, never charged in the "
    "truck or alone. A pack that is puffed, dented or warm is not used. The maker's instructions come first."
)
WHEELS_CAUTION = "Wheels off the bench, radio on before the truck and off after it; keep clear of turning wheels."


@dataclass(frozen=True)
class Procedure:
    """One measurement."""

    name: str
    """Also the table's key in a readings file."""
    title: str
    needs: str
    steps: tuple[str, ...]
    caution: str
    accuracy: str
    """Typical (common practice, no source)."""
    formula: str
    gives: str
    """Key of the build sheet that it fills, or what it is compared with."""
    example: str
    """Its lines in a readings file."""


PROCEDURES: tuple[Procedure, ...] = (
    Procedure(
        "squish", "Tyre squish table", "kitchen scale, calliper, drill stand or vise",
        ("Fit the wheel with tyre and foam on an axle stub in the stand, tread over the scale.",
         "Bring it down until the scale just shows something: this is zero.",
         "Press down in steps; at each step write load and how far the hub came down. Go to three times the load the "
         "wheel carries.",
         "Go back up and repeat; use the mean."),
        "Press slowly and straight: a wheel that slips out of a vise flies.",
        "0.3 mm, 5 % of the load", "a table; nothing is computed", "tyres.<axle>.squish",
        '[[squish]]\naxle = "front"\nrows = [["80 g", "1.3 mm"], ["160 g", "2.2 mm"], ["320 g", "3.7 mm"]]',
    ),
    Procedure(
        "foam_gap", "Foam gap", "calliper",
        ("Take the foam out of the tyre; measure its free outside diameter at four places.",
         "Measure the tyre's outside diameter, standing free, and the thickness of carcass and tread at the crown."),
        "Bead screws and rings are small: keep them from children.",
        "0.5 mm", "gap = outside radius - thickness - foam radius", "tyres.<axle>.foam_gap_mm",
        '[[foam_gap]]\naxle = "rear"\nfoam_diameter = "46 mm"\ntyre_diameter = "54 mm"\ntread_thickness = "2.5 mm"',
    ),
    Procedure(
        "block_pull", "Pull over a block with a spring scale", "spring or luggage scale, string, block, calliper",
        ("Pack out. Let all wheels roll freely: take the pinion out of mesh or both drive shafts out.",
         "Clamp a block with a sharp, square edge to a level board, across both tyres: a tenth to three tenths of "
         "their radius high; the lower, the better. Measure its height.",
         "Tie the string to the middle of the axle; pull level, straight and slowly over the block and write the "
         "largest pull, five times.",
         "Write the pull on the flat too, and the axle's load on the kitchen scale."),
        PACK_CAUTION + " The truck jumps when it is over: keep your face out of the string's line.",
        "3 % of the pull, 5 % the law: 20 to 35 % of the stiffness",
        "pull / load from the tyre's pressure on floor, face and top; at most the rigid wheel's "
        "sqrt(2 R h - h^2) / (R - h)",
        "tyres.<axle>.stiffness_n_per_mm; compared where there is a squish table",
        '[[block_pull]]\naxle = "front"\nheight = "5.0 mm"\npulls = ["76 g", "79 g", "77 g"]\nrolling = ["6 g"]\n'
        'load = "196 g"',
    ),
    Procedure(
        "slip_board", "Grip on a slip board", "hinged board faced with the surface, phone as inclinometer",
        ("Hold all four wheels: drag brake, or tape.",
         "Stand the truck on the board facing up; raise it slowly.",
         "Write the angle at which it first slips; ten times, turning the truck and wiping the board alike.",
         "Note surface, dust, temperature: another day gives 10 to 20 % more or less."),
        TILT_CAUTION,
        "0.03 to 0.05 in the coefficient, 10 to 20 % between days", "grip = tan(angle of first slip)",
        "tyres.<axle>.grip", '[[slip_board]]\nsurface = "slate, dry"\nangles = ["43 deg", "44.5 deg", "42.5 deg"]',
    ),
    Procedure(
        "tilt", "Tilt table: side and climb angle", "hinged board with grip, thin stop strip, phone as inclinometer",
        ("Zero the phone on the level board. Pack in, body on, tyres as driven.",
         "Stand the truck with its lower tyres at the stop strip, so that it tips before it slides.",
         "Raise slowly, below a degree a second near the end; write the angle when the last upper tyre leaves.",
         "Three times each: left low, right low, nose up; nose down if it descends."),
        TILT_CAUTION,
        "1 deg the phone, 1 to 2 deg repeats; 1 deg is about 3.5 % of the height at 40 deg",
        "rigid: tan(angle) = lever / height; springs and tyres make it less "
        "(Gillespie: T/2h over 1 + roll gradient x (1 - roll-centre height / h))",
        "compared; the fit uses it for height and give",
        '[[tilt]]\nto = "left"\nangles = ["38.5 deg", "39 deg", "38 deg"]',
    ),
    Procedure(
        "sag", "Sag of the shocks", "calliper",
        ("Measure one shock eye to eye: wheel hanging, truck at rest on the bench (shake it first), bottomed.",),
        "Links and shocks pinch.", "0.5 mm", "sag = (hanging - resting) / (hanging - bottomed)",
        "axles.<axle>.shock.droop_mm and bump_mm",
        '[[sag]]\naxle = "front"\nhanging = "40 mm"\nresting = "36 mm"\nbottomed = "29 mm"',
    ),
    Procedure(
        "spring", "Spring rate", "kitchen scale, calliper",
        ("Stand the bare spring on the scale, tare.",
         "Press it by known amounts with the calliper's depth rod; write load and shortening, three or more rows."),
        "A pressed spring jumps: eye protection.", "5 %", "rate = slope of load over shortening (least squares)",
        "axles.<axle>.shock.rate_n_per_mm",
        '[[spring]]\naxle = "rear"\nrows = [["20 g", "2 mm"], ["41 g", "4 mm"], ["62 g", "6 mm"]]',
    ),
    Procedure(
        "steering", "Steering angle at lock", "paper, protractor or photo from straight above",
        ("Wheels on paper, straight ahead: mark the line of each front rim.",
         "Steer to full lock, mark again; read the angles of the inner and the outer wheel. Both directions."),
        WHEELS_CAUTION, "1 to 2 deg",
        "share of Ackermann = (inner - outer) / (inner - full outer), cot(full outer) - cot(inner) = span / wheelbase",
        "axles.front.steer_deg, axles.front.ackermann", '[steering]\ninner = ["34 deg", "35 deg"]\nouter = ["31 deg"]',
    ),
    Procedure(
        "turning_circle", "Turning circle", "tape, smooth floor, chalk",
        ("Crawl a full circle at full lock and mark where the middle of the outer front tyre rolls.",
         "Measure across; six times each direction."),
        PACK_CAUTION, "2 %", "rear-middle radius = sqrt(R^2 - wheelbase^2) - track / 2, R to the outer front tyre",
        "compared: locked axles push the circle wide",
        '[[turning_circle]]\nto = "left"\ndiameters = ["520 mm", "528 mm"]',
    ),
    Procedure(
        "servo", "Servo torque", "luggage scale or kitchen scale, lever arm, volt meter",
        ("Clamp the servo; lever square to the pull, at a known arm.",
         "Steer against the scale for less than 2 s; read the pull and the voltage while pulling.",
         "Three times, with pauses."),
        STALL_CAUTION + " " + PACK_CAUTION, "5 to 10 %; sold figures are often 10 to 40 % optimistic",
        "torque = pull x arm", "servo.stall_kgcm, servo.at_v",
        '[servo]\narm = "10 mm"\npulls = ["1.1 kg", "1.05 kg", "1.1 kg"]\nvoltage = "6.0 V"',
    ),
    Procedure(
        "wheel_speed", "Wheel speed", "chalk mark on a tyre, phone in slow motion",
        ("Truck on a stand, wheels free, pack as driven; film a marked tyre at full throttle.",
         "Count turns over a few seconds; read the voltage under load if you can."),
        WHEELS_CAUTION + " " + PACK_CAUTION, "3 %",
        "kv = wheel rpm x reduction / (voltage - no-load current x resistance)", "motor.kv_rpm_per_v",
        '[[wheel_speed]]\naxle = "rear"\nturns = 62\ntime = "5.0 s"\nvoltage = "7.5 V"',
    ),
    Procedure(
        "gear_count", "Reduction and overdrive by counting turns", "chalk",
        ("Pack out. Mark motor shaft (or spur), one front and one rear tyre; lock differentials.",
         "Turn the motor by hand until the rear wheel has made ten whole turns; count motor and front turns."),
        PACK_CAUTION, "exact to the part of a turn read", "reduction = motor / rear, overdrive = front / rear - 1",
        "driveline.reduction, driveline.overdrive_percent", "[gear_count]\nmotor = 402\nrear = 10\nfront = 10.6",
    ),
    Procedure(
        "stall", "Motor stall: not measured here", "nothing",
        ("Do not stall the motor to learn its torque.",
         "Use resistance (ohm meter across two leads, motor cold) and kv instead: stall current = voltage / ohms."),
        STALL_CAUTION + " " + PACK_CAUTION, "10 % from resistance and kv",
        "torque = 60 / (2 pi kv) x voltage / resistance",
        "motor.resistance_ohm, motor.kv_rpm_per_v by hand", "",
    ),
)  # fmt: skip


def by_name(name: str) -> Procedure | None:
    """Find a procedure, however its words are joined."""
    wanted = name.strip().lower().replace("-", "_").replace(" ", "_")
    return next((p for p in PROCEDURES if p.name == wanted), None)
