"""Every family by name, with its levels, limits and parameters."""

from __future__ import annotations

from collections.abc import Callable

from terrain.families import ledges, slopes
from terrain.family import Family, Parameter
from terrain.yardstick import Yardstick


def _of_tyre(*shares: float) -> Callable[[Yardstick], tuple[float, ...]]:
    """Levels in mm as shares of the tyre diameter."""
    return lambda yard: tuple(round(2000.0 * yard.tyre_radius * share, 1) for share in shares)


def _fixed(*values: float) -> Callable[[Yardstick], tuple[float, ...]]:
    """Levels that do not depend on the truck."""
    return lambda yard: values


_SLOPE = Parameter("slope_deg", 15.0, 0.0, 60.0, "slope that the ledge lies across")

FAMILIES: dict[str, Family] = {
    family.name: family
    for family in (
        Family("ledge", "mm", "plumb face to climb", ledges.ledge, _of_tyre(0.5, 0.8, 1.2), _of_tyre(0.0, 3.0)),
        Family(
            "ledge-down",
            "mm",
            "plumb face to drive down",
            ledges.ledge_down,
            _of_tyre(0.5, 0.8, 1.2),
            _of_tyre(0.0, 3.0),
        ),
        Family(
            "ledge-on-slope",
            "mm",
            "plumb face across a climb",
            ledges.ledge_on_slope,
            _of_tyre(0.3, 0.5, 0.8),
            _of_tyre(0.0, 3.0),
            (_SLOPE,),
        ),
        Family("side-hill", "deg", "slope to cross, uphill left", slopes.side_hill, _fixed(25, 35, 45), _fixed(0, 65)),
        Family("climb", "deg", "even slope up", slopes.climb, _fixed(30, 45, 55), _fixed(0, 75)),
        Family("descent", "deg", "even slope down", slopes.descent, _fixed(30, 40, 50), _fixed(0, 75)),
    )
}
