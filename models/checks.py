"""Checks across the keys of a sheet: could this truck exist?"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from functools import partial
from typing import Any

from models.ends import ends
from models.errors import BuildSheetError
from models.holding import check_links
from models.key import join
from models.massprops import wheel_loads
from models.plausible import amount_checks, check_density, check_total, check_wheelbase, place_checks
from models.record import together
from models.spec import PAIRED, Axle, HullShape, Part, Sheet, Tyre

WHEELBASE_SLACK_MM = 0.5


def check_sheet(sheet: Sheet, data: Mapping[str, Any] | None = None) -> None:
    """Check what no single key can show.

    :param data: as read from the file, for the order of the faults.
    :raises BuildSheetError: all faults found, each with its key, its value and what to do (the file is not named).
    """
    # What one stage finds would make the next one stumble over the same slip again.
    stages: tuple[list[Callable[[], object]], ...] = (
        [lambda: _check_names(sheet), lambda: check_wheelbase(sheet),
         *(partial(_check_part, part) for part in sheet.parts)],
        [lambda: _check_axle_places(sheet), *place_checks(sheet),
         *(partial(check, end, axle, tyre) for end, axle, tyre in ends(sheet) for check in (_check_tyre, _check_axle)),
         lambda: _check_driveline(sheet), *(partial(_check_hull, shape) for shape in sheet.hull),
         *amount_checks(sheet)],
        [partial(check_total, sheet)],
        [*(partial(check_density, part) for part in sheet.parts), partial(check_links, sheet)],
        [partial(wheel_loads, sheet)],
    )  # fmt: skip
    for stage in stages:
        faults = []
        for check in stage:
            try:
                check()
            except BuildSheetError as fault:
                faults.append(fault)
        if faults:
            raise together(faults, data if data is not None else sheet.model_dump(by_alias=True))


def _check_names(sheet: Sheet) -> None:
    lists: list[tuple[str, Iterable[str]]] = [
        ("parts", (part.name for part in sheet.parts)),
        ("hull", (shape.name for shape in sheet.hull)),
        *((f"axles.{end}.links", (link.name for link in axle.links)) for end, axle, _ in ends(sheet)),
    ]
    for field, names in lists:
        name, count = Counter(names).most_common(1)[0] if field != "hull" or sheet.hull else ("", 1)
        if count > 1:
            raise BuildSheetError(f"{count} entries have this name.",
                                  remedy="Give each its own name: changes and messages find them by it.",
                                  field=f"{field}.name", value=name)


def _check_part(part: Part) -> None:
    paired = part.body in PAIRED
    wanted, unwanted = ("mass_each_g", "mass_g") if paired else ("mass_g", "mass_each_g")
    field = join(["parts", part.name])
    if getattr(part, unwanted) is not None:
        why = "comes in pairs" if paired else "is there once"
        raise BuildSheetError(f"what rides on {part.body} {why}.",
                              remedy=f"Write {wanted} instead" + (", the mass of one of the two." if paired else "."),
                              field=f"{field}.{unwanted}", value=getattr(part, unwanted))
    if getattr(part, wanted) is None:
        raise BuildSheetError("is missing.", remedy=f"Add `{wanted} = ...`, in grams.", field=f"{field}.{wanted}")
    if paired and part.at_mm[1] <= 0:
        raise BuildSheetError("a part of a pair is given by its left one, and left of the middle y is positive.",
                              remedy="Give the left one's place; the right one is its mirror image.",
                              field=f"{field}.at_mm.y", value=part.at_mm[1])
    if part.shape in ("cylinder", "ring"):
        _check_round(part, field)
    if part.price is None and part.currency is not None:
        raise BuildSheetError("a currency without a price.", remedy="Add `price = ...`.", field=f"{field}.currency")


def _check_round(part: Part, field: str) -> None:
    across, _, high = part.size_mm
    if not math.isclose(across, high, rel_tol=0.02, abs_tol=0.2):
        raise BuildSheetError(f"a {part.shape} lies along y, so its first and last size are both its diameter.",
                              remedy='Write [diameter, width, diameter], or use shape = "box".',
                              field=f"{field}.size_mm", value=part.size_mm)
    if part.bore_mm >= across and part.bore_mm > 0:
        raise BuildSheetError(f"the hole is as large as the {part.shape} ({across:g} mm).",
                              remedy="Make bore_mm smaller than the diameter in size_mm.", field=f"{field}.bore_mm",
                              value=part.bore_mm)


def _check_axle_places(sheet: Sheet) -> None:
    front, rear = sheet.axles.front.x_mm, sheet.axles.rear.x_mm
    if abs(rear) > WHEELBASE_SLACK_MM:
        raise BuildSheetError("places are measured from under the rear axle, so the rear axle stands at 0.",
                              remedy=f"Set it to 0 and take {rear:g} from every x of the sheet.",
                              field="axles.rear.x_mm", value=rear)
    if abs(front - rear - sheet.wheelbase_mm) > WHEELBASE_SLACK_MM:
        raise BuildSheetError(
            f"disagrees with the axles, which stand {front - rear:g} mm apart (axles.front.x_mm is {front:g}).",
            remedy="Measure axle to axle and correct whichever is wrong.", field="wheelbase_mm",
            value=sheet.wheelbase_mm,
        )
    radii = (sheet.tyres.front.outside_diameter_mm + sheet.tyres.rear.outside_diameter_mm) / 2
    if radii >= sheet.wheelbase_mm:
        raise BuildSheetError(f"front and rear tyre would overlap: they need {radii:g} mm between the axles.",
                              remedy="Check tyres.*.outside_diameter_mm: it is the diameter in millimetres.",
                              field="wheelbase_mm", value=sheet.wheelbase_mm)


def _check_tyre(end: str, axle: Axle, tyre: Tyre) -> None:
    field = f"tyres.{end}"
    outside, rim = tyre.outside_diameter_mm, tyre.rim_diameter_mm
    if rim is not None and rim >= outside:
        raise BuildSheetError(
            f"the rim cannot be as large as the tyre ({outside:g} mm outside).",
            remedy="Measure the rim across its bead seat; it is usually about half the tyre's diameter.",
            field=f"{field}.rim_diameter_mm", value=rim,
        )
    room = (outside - (outside / 2 if rim is None else rim)) / 2
    if tyre.crown_mm >= room:
        raise BuildSheetError(f"the tread cannot drop that far: the rim is {room:g} mm under it.",
                              remedy="crown_mm is how much lower the tread's edge is than its middle.",
                              field=f"{field}.crown_mm", value=tyre.crown_mm)
    if tyre.squish is not None:
        _check_squish(field, tyre, room)


def _check_squish(field: str, tyre: Tyre, room: float) -> None:
    rows = tyre.squish or ()
    for before, row in zip(((0.0, 0.0), *rows), rows, strict=False):
        if row[0] <= before[0] or row[1] <= before[1]:
            raise BuildSheetError("more load must squish the tyre more, row by row.",
                                  remedy="Each row is [load in g, deflection in mm], lightest first.",
                                  field=f"{field}.squish", value=rows)
    if not rows or rows[-1][1] >= room:
        raise BuildSheetError(
            f"the tyre would be squished onto its rim, {room:g} mm under the tread." if rows else "has no rows.",
            remedy="Each row is [load in g, deflection in mm]; check the rows and rim_diameter_mm.",
            field=f"{field}.squish", value=rows,
        )
    for key in ("stiffness_n_per_mm", "foam_stiffness_n_per_mm"):
        if getattr(tyre, key) is not None:
            raise BuildSheetError("the squish table already says how stiff the tyre and its foam are.",
                                  remedy="Keep the table (it is measured) or the stiffnesses, not both.",
                                  field=f"{field}.{key}", value=getattr(tyre, key))


def _check_axle(end: str, axle: Axle, tyre: Tyre) -> None:
    field = f"axles.{end}"
    half = axle.track_mm / 2
    if tyre.width_mm >= axle.track_mm:
        raise BuildSheetError(f"the left and right tyre, each {tyre.width_mm:g} mm wide, would overlap.",
                              remedy="track_mm is from tyre centre to tyre centre.", field=f"{field}.track_mm",
                              value=axle.track_mm)
    if axle.kingpin_y_mm is not None and axle.kingpin_y_mm > half:
        raise BuildSheetError(
            f"the kingpin would stand outside the tyre's middle ({half:g} mm from the truck's middle).",
            remedy="kingpin_y_mm is from the truck's middle to the left kingpin.", field=f"{field}.kingpin_y_mm",
            value=axle.kingpin_y_mm,
        )
    if axle.portal_drop_mm >= tyre.outside_diameter_mm / 2:
        raise BuildSheetError("the portal gears would reach below the ground.",
                              remedy="portal_drop_mm is how far the wheel's shaft sits below the axle's.",
                              field=f"{field}.portal_drop_mm", value=axle.portal_drop_mm)
    if end == "rear" and axle.steer_deg > 0:
        raise BuildSheetError(
            "a steered rear axle is not modelled.",
            remedy="Leave it out; results then hold for the truck with its rear wheels held straight.",
            field=f"{field}.steer_deg", value=axle.steer_deg,
        )
    _check_rods(field, axle)


def _check_rods(field: str, axle: Axle) -> None:
    for link in axle.links:
        if math.dist(link.chassis_mm, link.axle_mm) < 1.0:
            raise BuildSheetError("both ends of this link are at the same place.",
                                  remedy="chassis_mm is its eye on the chassis, axle_mm its eye on the axle.",
                                  field=join([*f"{field}.links".split("."), link.name]))
    shock = axle.shock
    length = math.dist(shock.chassis_mm, shock.axle_mm)
    if shock.bump_mm >= length:
        raise BuildSheetError(f"the shock is only {length:.0f} mm long at ride height.",
                              remedy="bump_mm is how much shorter it can get before its stop.",
                              field=f"{field}.shock.bump_mm", value=shock.bump_mm)
    for key in ("chassis_mm", "axle_mm"):
        y = getattr(shock, key)[1]
        if y < 0:
            raise BuildSheetError("the left shock is given, and left of the middle y is positive.",
                                  remedy="Give the left shock's eye; the right one is its mirror image.",
                                  field=f"{field}.shock.{key}.y", value=y)


def _check_driveline(sheet: Sheet) -> None:
    driveline = sheet.driveline
    if driveline.overdrive_percent is not None and (driveline.front_teeth or driveline.rear_teeth):
        raise BuildSheetError("the tooth counts already say how much faster the front wheels turn.",
                              remedy="Keep front_teeth and rear_teeth (surer), or overdrive_percent, not both.",
                              field="driveline.overdrive_percent", value=driveline.overdrive_percent)
    if bool(driveline.front_teeth) != bool(driveline.rear_teeth):
        there, missing = ("front", "rear") if driveline.front_teeth else ("rear", "front")
        raise BuildSheetError(f"is missing while {there}_teeth is given.",
                              remedy="Give the tooth counts of both axles, each pair as [driving, driven].",
                              field=f"driveline.{missing}_teeth")
    for key in ("front_teeth", "rear_teeth"):
        for pair in getattr(driveline, key):
            if min(pair) < 4:
                raise BuildSheetError("a gear has at least 4 teeth.",
                                      remedy="Each pair is [driving, driven] tooth counts.", field=f"driveline.{key}",
                                      value=pair)


def _check_hull(shape: HullShape) -> None:
    field = join(["hull", shape.name])
    if (shape.shape == "mesh") != (shape.file is not None):
        raise BuildSheetError(
            "a mesh needs its file." if shape.file is None else 'a file is read only for shape = "mesh".',
            remedy='Write shape = "mesh" and file = "skid.stl" together.',
            field=f"{field}.file" if shape.file is None else f"{field}.shape",
        )
    if shape.shape != "mesh" and min(shape.size_mm) <= 0:
        raise BuildSheetError(
            f"a {shape.shape} needs three sizes above 0.",
            remedy="Write [length, width, height] in millimetres (a cylinder: [diameter, width, diameter]).",
            field=f"{field}.size_mm", value=shape.size_mm,
        )
    if shape.shape != "mesh" and shape.at_mm[2] - shape.size_mm[2] / 2 < 0:
        raise BuildSheetError(f"reaches {shape.size_mm[2] / 2 - shape.at_mm[2]:g} mm below the ground.",
                              remedy="at_mm is the middle of the shape, with z up from the bench.",
                              field=f"{field}.at_mm.z", value=shape.at_mm[2])
