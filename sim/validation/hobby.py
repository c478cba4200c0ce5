"""Measurements that hobbyists published: builds put together from what they state and what is assumed.

Nobody published a height of the centre of gravity, so single angles say little: the change or the order counts.
"""

from __future__ import annotations

from collections.abc import Mapping

from models.assemble import rigid_model
from models.spec import Sheet
from sim.validation.check import Group, Measured, between
from sim.validation.tipping import formula
from sim.validation.trade import changed, tips
from sim.validation.truck import sheet

GROUP = Group("hobby", "Published hobby measurements")
PAGE = "a hobbyist's measurement, not published where it can be cited"


def moved(base: Sheet, by: Mapping[str, tuple[float, float, float]], without: tuple[str, ...] = ()) -> Sheet:
    """Return a sheet with parts moved (mm) by name, some left out; ``chassis`` moves all that ride on the chassis."""
    parts = []
    for part in base.parts:
        if part.name in without:
            continue
        step = by.get(part.name, by.get("chassis", (0.0, 0.0, 0.0)) if part.body == "chassis" else (0.0, 0.0, 0.0))
        x, y, z = part.at_mm
        parts.append(part.model_copy(update={"at_mm": (x + step[0], y + step[1], z + step[2])}))
    return base.model_copy(update={"parts": tuple(parts)})


def simulated(of: Sheet, low: str) -> float:
    """Tilt (deg) at which the truck tips on its own springs and tyres."""
    return tips(low)(rigid_model(of))


@GROUP.check(
    "hub covers, climb, simulated",
    "46 g of brass at the front hubs of a stock 1/24: gain of the simulated soft truck (49 to 53 deg measured)",
    source="a hobbyist's measurement before and after", known="unsourced",
    unit="deg",
    tolerance=between("4 deg measured, error not stated: 1.5 deg on the safe side of it, and no more than 1.5 above"),
    slow=True,
)
def hub_covers() -> Measured:
    """Assumed: the scenario's 1/24 stands for the stock truck, brass as 11.5 g pairs at each front knuckle."""
    base = sheet("gundi")
    old = next(part for part in base.parts if part.body == "front_knuckles")
    brass = old.model_copy(update={"name": "brass covers", "mass_each_g": 23.0, "at_mm": (134.0, 33.0, 27.0)})
    heavy = base.model_copy(update={"parts": (*base.parts, brass)})
    before, after = simulated(base, "back"), simulated(heavy, "back")
    note = (
        f"{before:.1f} to {after:.1f} deg; a truck of {1000 * rigid_model(base).mass:.0f} g, lighter than the real one"
    )
    return Measured((2.5, 5.5), (after - before,), note)


@GROUP.check("wide portal, narrow straight",
             "Of two stock 1/24 the wide one with portal axles tips sideways later: by 4 deg (41 against 37 measured)",
             source=PAGE, known="unsourced",
             unit="deg", tolerance=between("size within half and one and a half times: tracks and heights are assumed"),
             slow=True)
def portal() -> Measured:
    """Assumed: tracks 80 and 90 mm, portals raise the chassis by 4 mm."""
    narrow = simulated(sheet("gundi"), "left")
    wide = simulated(moved(changed("gundi", "wide-hubs"), {"chassis": (0.0, 0.0, 4.0)}), "left")
    return Measured((2.0, 6.0), (wide - narrow,), f"{narrow:.1f} and {wide:.1f} deg")


@GROUP.check(
    "57 % and 54 % front",
    "A 1/12 with 57 % front tipped back at 51 deg, a 1/10 with tall body, rear spare and 54 % at 50: order and size",
    source="magazine tests of October and November 2018", known="unsourced",
    unit="deg",
    tolerance=between("1 deg measured to a degree each: 0 to 4, since heights are assumed alike but for the spare"),
    slow=True,
)
def bias_pair() -> Measured:
    """Assumed: the scenario's 1/10 with its battery moved for both biases, and 60 g of spare wheel behind the cab."""
    base = sheet("takin")
    front = moved(base, {"battery": (160.0, 0.0, 0.0), "battery tray": (160.0, 0.0, 0.0)})
    old = next(part for part in base.parts if part.name == "battery tray")
    spare = old.model_copy(update={"name": "spare wheel", "mass_g": 60.0, "at_mm": (-40.0, 0.0, 170.0), "holes": ()})
    rear = moved(base, {"battery": (100.0, 0.0, 0.0), "battery tray": (100.0, 0.0, 0.0)})
    rear = rear.model_copy(update={"parts": (*rear.parts, spare)})
    one, other = simulated(front, "back"), simulated(rear, "back")
    rigid = formula(rigid_model(front), "back"), formula(rigid_model(rear), "back")
    note = f"{one:.1f} and {other:.1f} deg on springs and tyres, {rigid[0]:.1f} and {rigid[1]:.1f} rigid"
    return Measured((0.0, 4.0), (one - other,), note)


@GROUP.check(
    "body on and off",
    "A 1/10 trail truck with brass knuckles and wheel weights tips back at 58 deg, without its body near 60",
    source=PAGE, known="unsourced",
    unit="deg",
    tolerance=between("about 2 deg measured on a mat: half to three times, for the body's weight is not stated"),
    slow=True,
)
def body_off() -> Measured:
    """Assumed: a thin shell as the scenario's light one; knuckle and wheel weights as the scenario's."""
    on = changed("takin", "light-shell", "knuckle-weights", "front-wheel-rings")
    shell = next(part.name for part in on.parts if "shell" in part.name)
    off = moved(on, {}, without=(shell,))
    before, after = simulated(on, "back"), simulated(off, "back")
    return Measured((1.0, 6.0), (after - before,), f"{before:.1f} to {after:.1f} deg")
