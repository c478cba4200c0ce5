"""Every family by name, with its levels, limits and parameters."""

from __future__ import annotations

from collections.abc import Callable

from terrain.families import crossings, ledges, rocks, slopes, standards, uneven
from terrain.family import Family, Parameter
from terrain.yardstick import Yardstick

Levels = Callable[[Yardstick], tuple[float, ...]]


def _tyres(*shares: float) -> Levels:
    """Levels in mm as shares of the tyre diameter."""
    return lambda yard: tuple(round(2000.0 * yard.tyre_radius * share, 1) for share in shares)


def _bases(*shares: float) -> Levels:
    """Levels in mm as shares of the wheelbase."""
    return lambda yard: tuple(round(1000.0 * yard.wheelbase * share, 1) for share in shares)


def _fixed(*values: float) -> Levels:
    """Levels that do not depend on the truck."""
    return lambda yard: values


_SKEW = Parameter("skew_deg", 0.0, -45.0, 45.0, "turn of it across the lane; positive meets the right tyre first")
# A rigid truck with its CG amid the wheels and friction 1 climbs 0.37 tyre diameters of plumb rock with its rear axle
# (statics); soft tyres that wrap the edge reach more. Hence the levels of the ledges.
_BOARD = 0.003
"""Roughness of a plywood apparatus in tyre radii (common practice, no source)."""
_LEDGES = (
    Family("ledge", "mm", "plumb face to climb", ledges.ledge, _tyres(0.3, 0.5, 0.8), _tyres(0, 3)),
    Family("ledge-down", "mm", "plumb face to drive down", ledges.ledge_down, _tyres(0.5, 0.8, 1.2), _tyres(0, 3)),
    Family("ledge-on-slope", "mm", "plumb face across a climb", ledges.ledge_on_slope, _tyres(0.2, 0.35, 0.5),
           _tyres(0, 3), (Parameter("slope_deg", 15.0, 0.0, 60.0, "slope that the ledge lies across"),)),
    Family("off-camber-ledge", "mm", "plumb face on ground that falls to the right", ledges.off_camber_ledge,
           _tyres(0.25, 0.4, 0.6), _tyres(0, 3),
           (Parameter("camber_deg", 15.0, 0.0, 45.0, "side slope under it"), _SKEW), one_sided=True),
)
_SLOPES = (
    Family("side-hill", "deg", "slope to cross, uphill left", slopes.side_hill, _fixed(25, 35, 45), _fixed(0, 65),
           one_sided=True),
    Family("climb", "deg", "even slope up", slopes.climb, _fixed(30, 45, 55), _fixed(0, 75)),
    Family("descent", "deg", "even slope down", slopes.descent, _fixed(30, 40, 50), _fixed(0, 75)),
)
_CROSSINGS = (
    Family("hump", "deg", "ridge of this breakover angle", crossings.hump, _fixed(40, 60, 80), _fixed(1, 120)),
    Family("gully", "mm", "V trench across the lane, this deep", crossings.gully, _tyres(0.5, 1.0, 1.5),
           _tyres(0.05, 4), (Parameter("bank_deg", 40.0, 5.0, 75.0, "slope of its banks"),)),
    Family("log", "mm", "round log of this diameter", crossings.log, _tyres(0.4, 0.7, 1.0), _tyres(0.1, 3),
           (Parameter("buried_percent", 20.0, 0.0, 95.0, "share of its diameter under ground"), _SKEW)),
    Family("gap", "mm", "trench with plumb walls, this wide", crossings.gap, _tyres(0.5, 0.65, 0.8), _tyres(0.1, 4),
           (Parameter("depth_percent", 100.0, 5.0, 300.0, "depth in tyre diameters"), _SKEW)),
)
_UNEVEN = (
    Family("v-notch", "deg", "notch up a slope, walls of this angle", uneven.v_notch, _fixed(20, 35, 50),
           _fixed(0, 65),
           (Parameter("slope_deg", 15.0, 0.0, 60.0, "climb along the notch"),
            Parameter("floor_percent", 20.0, 0.0, 200.0, "floor width in wheelbases"))),
    Family("twist", "mm", "blocks left and right by turns, this high", uneven.twist, _tyres(0.3, 0.6, 0.9),
           _tyres(0, 3), (Parameter("ramp_deg", 35.0, 10.0, 85.0, "slope of the blocks' ends"),), one_sided=True),
    Family("articulation-ramp", "mm", "20 degree ramp under the left wheels, driven this far",
           uneven.articulation_ramp, _bases(0.5, 0.8, 1.1), _bases(0.05, 2.5),
           (Parameter("ramp_deg", 20.0, 5.0, 45.0, "slope of the ramp"),), one_sided=True),
)
_ROCKS = (
    Family("boulders", "mm", "field of boulders of this median diameter", rocks.boulders, _tyres(0.4, 0.8, 1.2),
           _tyres(0.1, 3),
           (Parameter("cover_percent", 60.0, 1.0, 80.0, "share of the ground under boulders"),
            Parameter("spread", 0.35, 0.0, 1.0, "log standard deviation of the diameters"),
            Parameter("embed_percent", 45.0, 0.0, 90.0, "share of their height under ground"))),
    Family("slab", "deg", "grained slab up at this angle", rocks.slab, _fixed(25, 35, 45), _fixed(0, 70),
           (Parameter("grain_deg", 30.0, -90.0, 90.0, "direction of the ridges off the lane"),
            Parameter("ridge_percent", 8.0, 0.0, 60.0, "rms of the ridges in tyre radii"),
            Parameter("stretch", 6.0, 1.0, 20.0, "how much longer than wide the ridges are")),
           one_sided=True),
    Family("rough", "class", "ISO 8608 roughness, 1 = A to 8 = H, shrunk to scale", rocks.graded_roughness,
           _fixed(5, 6.5, 8), _fixed(1, 9),
           standard="ISO 8608 (class limits as in Agostinacchio, Ciampa and Olita 2014; means are their geometric "
                    "means)",
           roughness_share=0.0),
)
_STANDARDS = (
    Family("continuous-ramps", "percent", "15 degree pitch/roll ramps without steps", standards.continuous_ramps,
           _fixed(100, 250, 500), _fixed(25, 2000), standard="ASTM E2826/E2826M-20 (dimensions from memory)",
           roughness_share=_BOARD),
    Family("crossing-ramps", "percent", "15 degree pitch/roll ramps with steps", standards.crossing_ramps,
           _fixed(100, 250, 500), _fixed(25, 2000),
           standard="ASTM E2827/E2827M-20 (15 degrees over 0.6 m second hand; width from memory)",
           roughness_share=_BOARD),
    Family("stepfield", "percent", "symmetric stepfield of square posts", standards.stepfield, _fixed(100, 200, 400),
           _fixed(25, 1500), (Parameter("topography", 1.0, 0.0, 2.0, "0 flat, 1 hill, 2 diagonal hill"),),
           standard="ASTM E2828/E2828M-20; Jacoff et al., Stepfield Pallets, PerMIS 2008 (0.1 m posts, 1.2 m pallets, "
                    "steps of two posts at most second hand; heights from memory)",
           roughness_share=_BOARD),
    Family("k-rails", "percent", "square rails straight and diagonal across the lane, like a row of K",
           standards.k_rails, _fixed(100, 200, 350), _fixed(25, 1500),
           standard="ASTM E3349/E3349M-22 (title and scope read; 0.1 m rails at 45 degrees second hand; pattern ours)",
           roughness_share=_BOARD),
    Family("inclined-plane", "deg", "flat board with sharp ends", standards.inclined_plane, _fixed(30, 40, 50),
           _fixed(0, 75), standard="ASTM E2803 (from memory; length ours)", roughness_share=_BOARD),
    Family("hurdle", "percent", "beam with a rounded top, 100 is one 0.1 m step", standards.hurdle,
           _fixed(300, 600, 900), _fixed(50, 3000), standard="ASTM E2802 (from memory)", roughness_share=_BOARD),
)
FAMILIES: dict[str, Family] = {
    family.name: family for group in (_LEDGES, _SLOPES, _CROSSINGS, _UNEVEN, _ROCKS, _STANDARDS) for family in group
}
