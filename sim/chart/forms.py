"""The three forms themselves: what stands on the set-up sheet, the weighing form and the run log."""

from __future__ import annotations

from dataclasses import dataclass

from models.bench.procedure import PACK_CAUTION, STALL_CAUTION, TILT_CAUTION
from models.ends import ends
from models.massprops import MassProperties, WheelLoads
from models.part_mass import all_grams
from models.spec import Part, Sheet
from sim.chart.sheets_pdf import ROW, PdfPage, page

_OZ, _INCH = 28.349523125, 25.4
SHORT_PACK = "Lithium packs: never charged alone or in the truck; puffed, dented or warm ones are out."
OUTCOMES = (
    "Outcome: cleared, rolled, stuck, slid, timeout (void: does not count). Why: tipped back, nosed over, tipped "
    "left/right; belly hung, axle hung, wheels in the air, tyres slipped, drive stalled; slid back, slid sideways, "
    "slid down, left the lane; or your own words."
)


@dataclass(frozen=True)
class Units:
    """Whether ounces and inches stand beside grams and millimetres."""

    both: bool

    @property
    def mass(self) -> str:
        """Unit to write masses in."""
        return "g / oz" if self.both else "g"

    @property
    def length(self) -> str:
        """Unit to write lengths in."""
        return "mm / in" if self.both else "mm"

    def g(self, grams: float, digits: int = 1) -> str:
        """A mass."""
        digits = 0 if grams >= 1000.0 else digits
        return f"{grams:.{digits}f} g" + (f" / {grams / _OZ:.{digits + 1}f} oz" if self.both else "")

    def mm(self, value: float, digits: int = 1) -> str:
        """A length."""
        return f"{value:.{digits}f} mm" + (f" / {value / _INCH:.2f} in" if self.both else "")


def setup_sheet(
    paper: str, sheet: Sheet | None, truck: MassProperties | None, loads: WheelLoads | None, units: Units
) -> PdfPage:
    """One page with everything that is set on a truck; filled from a resolved build sheet, or blank."""
    made = page(paper, "Set-up sheet", "cragbench - units: " + f"{units.mass}, {units.length}, deg, kg·cm")
    made.fields([
        ("truck", "" if sheet is None else f"{sheet.name}, 1/{sheet.scale:g}"), ("date", ""),
        ("driver", ""), ("place / surface", ""),
    ])  # fmt: skip
    made.heading("Weight")
    made.fields(_weight(truck, loads, units), 3)
    made.heading("Axles and tyres")
    made.table(
        ["", "front", "rear", "note"],
        [[label, front, rear, ""] for label, front, rear in _axles(sheet, units)],
        (3.0, 2.4, 2.4, 3.0), row=5.6,
    )  # fmt: skip
    made.heading("Drive and steering")
    made.fields(_drive(sheet, units), 2)
    made.heading("Parts that matter")
    heavy = [] if sheet is None else sorted(sheet.parts, key=lambda part: -all_grams(part))
    count = min(made.rest(22.0), 16)
    rows = [[p.name, _mass(p, units), ", ".join(f"{v:.0f}" for v in p.at_mm), p.source, ""] for p in heavy[:count]]
    rows += [[""] * 5 for _ in range(count - len(rows))]
    heads = ["part", f"mass ({units.mass})", "place x, y, z (mm)", "mark", "changed to"]
    made.table(heads, rows, (4.0, 2.4, 2.6, 1.4, 3.0))
    made.paragraph("Change one thing at a time and write it down first. Mark: measured, fitted, sold, assumed.")
    made.caution(PACK_CAUTION)
    return made


def _mass(part: Part, units: Units) -> str:
    return units.g(part.mass_g or 0.0) if part.mass_each_g is None else f"2 x {units.g(part.mass_each_g)}"


def _weight(truck: MassProperties | None, loads: WheelLoads | None, units: Units) -> list[tuple[str, str]]:
    if truck is None or loads is None:
        return [(w, "") for w in ("mass", "front %", "left %", "front left", "front right", "cross %", "rear left",
                                  "rear right", "CG height")]  # fmt: skip
    fl, fr, rl, rr = loads.grams
    return [
        ("mass", units.g(1e3 * truck.mass)), ("front %", f"{loads.front_percent:.1f}"),
        ("left %", f"{loads.left_percent:.1f}"), ("front left", units.g(fl)), ("front right", units.g(fr)),
        ("cross %", f"{loads.cross_percent:.1f}"), ("rear left", units.g(rl)), ("rear right", units.g(rr)),
        ("CG height", units.mm(1e3 * float(truck.cg[2]))),
    ]  # fmt: skip


def _axles(sheet: Sheet | None, units: Units) -> list[tuple[str, str, str]]:
    labels = ("track, tyre centres", "tyre, outside x width", "compound, foam", "grip (surface)", "spring rate (N/mm)",
              "oil, piston", "sag / droop / bump", "link holes", "steering lock (deg)", "wheel weights")  # fmt: skip
    if sheet is None:
        return [(label, "", "") for label in labels]
    found = []
    for _, axle, tyre in ends(sheet):
        found.append([
            units.mm(axle.track_mm, 0), f"{tyre.outside_diameter_mm:g} x {tyre.width_mm:g} mm", "",
            "" if tyre.grip is None else f"{tyre.grip:.2f}", f"{axle.shock.rate_n_per_mm:g}", "",
            f"- / {axle.shock.droop_mm:g} / {axle.shock.bump_mm:g} mm", "",
            f"{axle.steer_deg:g}" if axle.steer_deg else "", "",
        ])  # fmt: skip
    return list(zip(labels, *found, strict=True))


def _drive(sheet: Sheet | None, units: Units) -> list[tuple[str, str]]:
    if sheet is None:
        return [(w, "") for w in ("motor kv (rpm/V)", "pack, voltage", "reduction", "overdrive %", "drag brake %",
                                  "servo (kg·cm at V)", "wheelbase", "end points")]  # fmt: skip
    from models.drive import front_lead

    lead = 100.0 * (front_lead(sheet.driveline) - 1.0)
    brake = sheet.driveline.drag_brake
    return [
        ("motor kv (rpm/V)", f"{sheet.motor.kv_rpm_per_v:g}"), ("pack, voltage", f"{sheet.battery.voltage_v:g} V"),
        ("reduction", f"{sheet.driveline.reduction:g}"), ("overdrive %", f"{lead:.1f}"),
        ("drag brake %", "" if brake is None else f"{100 * brake:.0f}"),
        ("servo (kg·cm at V)", f"{sheet.servo.stall_kgcm:g} at {sheet.servo.at_v:g} V"),
        ("wheelbase", units.mm(sheet.wheelbase_mm)), ("end points", ""),
    ]  # fmt: skip


def weighing_form(paper: str, sheet: Sheet | None, units: Units) -> PdfPage:
    """One page to write readings on, in the order of the work and of the readings file."""
    made = page(paper, "Weighing form", f"cragbench - masses in {units.mass}, lengths in {units.length}")
    made.fields([("truck", "" if sheet is None else sheet.name), ("date", ""), ("scale, its step", ""),
                 ("its accuracy, check weight", "")])  # fmt: skip
    made.heading("1. Level")
    made.paragraph("Pack in, body on, wheels straight; one wheel on the scale, the others on blocks of its height. "
                   "Shake, settle, read, three times.")
    made.table(["", "1st", "2nd", "3rd", "mean"],
               [[w, "", "", "", ""] for w in ("whole truck", "front left", "front right", "rear left", "rear right")],
               (2.4, 2, 2, 2, 2))  # fmt: skip
    made.heading("2. Lengths, on the level truck")
    made.fields([
        ("wheelbase", ""), ("ruler good to", ""), ("track front, tyre centres", ""), ("track rear", ""),
        ("axle height front", ""), ("axle height rear", ""),
    ])  # fmt: skip
    made.heading("3. Lifts")
    made.paragraph("One axle raised, the other on the scale, wheels free to roll. Suspension locked [__]  free [__]")
    made.table(
        ["raised", "going", f"height of the raised axle\nover its level place ({units.length})", "angle\nor deg",
         f"scale, 1st\n({units.mass})", "scale, 2nd"],
        [[end, way, "", "", "", ""] for end in ("rear", "front") for way in ("up", "up", "up", "down", "down")],
        (1.3, 1.1, 3.6, 1.6, 2.2, 2.2),
    )  # fmt: skip
    made.heading("4. Parts by themselves (or truck with and without)")
    rows = max(3, min(6, made.rest(36.0)))
    names = [] if sheet is None else [p.name for p in sorted(sheet.parts, key=lambda p: -(p.mass_g or 0.0))]
    made.table(["part", f"mass ({units.mass})", "truck with", "truck without"],
               [[names[n] if n < len(names) else "", "", "", ""] for n in range(rows)], (3.6, 2, 2, 2))  # fmt: skip
    made.paragraph("Front share = (front left + front right) / all. Height = axle height + wheelbase x load gained / "
                   "mass / tan(angle), sin(angle) = lift / wheelbase. Readings more than two steps apart: read again.")
    dust = "Keep a scale for the bench that is not the kitchen's: brass dust holds lead."
    made.caution(f"{TILT_CAUTION} {dust} {PACK_CAUTION}")
    return made


def run_log(paper: str, sheet: Sheet | None, units: Units) -> PdfPage:
    """One page of attempts, with the columns of the log file."""
    made = page(paper, "Run log", f"cragbench - heights in {units.length}, angles in deg")
    made.fields([
        ("date", ""), ("place", ""), ("driver", ""), ("weather, temperature", ""),
        ("truck", "" if sheet is None else sheet.name), ("pack, volts start / end", ""),
    ])  # fmt: skip
    made.heading("Lines")
    made.table(["line", f"kind, measured height or angle ({units.length}, deg)", "surface, dust, wet", "photo"],
               [[""] * 4 for _ in range(5)], (2.6, 4.2, 3.4, 1.2))  # fmt: skip
    made.heading("Tries")
    rows = made.rest(41.0)
    made.table(["line", "configuration", "no.", "outcome", "why", "volts", "video", "note"],
               [["", "", str(n + 1), "", "", "", "", ""] for n in range(rows)],
               (2.3, 2.5, 0.7, 1.5, 2.3, 1.0, 1.1, 2.4), row=ROW)  # fmt: skip
    made.paragraph(OUTCOMES)
    made.paragraph(
        "Same start mark, set-ups in turn (A B B A), same pack state. Three of three still fits a line that goes less "
        "than half of the time (44 %): ten tries say something, about 25 know a rate to 20 points."
    )
    made.caution(f"{SHORT_PACK} Spotters stay out of the fall line; a rolling truck is let roll. {STALL_CAUTION}")
    return made
