"""``cragbench sheet``: what can be said of a truck without driving it."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim.cli.console import say, show_json, show_table
from sim.cli.options import Build, Change, Json

if TYPE_CHECKING:
    from collections.abc import Sequence

    from models.configuration import Configuration
    from models.massprops import MassProperties, WheelLoads
    from models.sensitivity import Doubts
    from models.statics import Statics
    from sim.decision.limit_doubts import Swing


def sheet(
    build: Build,
    change: Change = None,
    draw: Annotated[Path | None, typer.Option(help="Picture to write, side and top view, without its ending.")] = None,
    all_assumed: Annotated[bool, typer.Option("--assumed", help="List everything that was assumed.")] = False,
    limits: Annotated[list[str] | None, typer.Option("--limits", help="Obstacle, such as climb, whose limit is driven "
                                                     "with each unknown low and high (minutes); several times.")]
    = None,
    sources: Annotated[bool, typer.Option("--sources", help="Formula, source and limits of each number.")] = False,
    as_json: Json = False,
) -> None:
    """Show a build sheet: bias, wheel loads, centre of gravity, handbook angles, price, and what was assumed."""
    from models.configuration import load_configuration
    from models.massprops import truck_properties, wheel_loads
    from models.sensitivity import doubts
    from models.statics import statics

    configuration = load_configuration(build, change or [])
    truck = truck_properties(configuration.sheet)
    loads = wheel_loads(configuration.sheet, truck)
    numbers = statics(configuration.sheet)
    doubt = doubts(configuration.sheet)
    pictures = [] if draw is None else _drawn(configuration, draw)
    moved = _limits(build, change or [], limits, quiet=as_json) if limits else ()
    if as_json:
        pictured = {"pictures": [str(picture) for picture in pictures]} if pictures else {}
        show_json({**as_data(configuration, truck, loads, numbers), **_doubt_data(doubt), **_limit_data(moved),
                   **pictured})
        return
    _show(configuration, truck, loads, numbers)
    _show_doubts(configuration, doubt, every=all_assumed)
    _show_limits(moved)
    for text in _warnings(configuration, numbers):
        say(f"WARNING: {text}.")
    for picture in pictures:
        say(f"Drew {picture}")
    if sources:
        _show_sources(numbers)


def as_data(
    configuration: Configuration, truck: MassProperties, loads: WheelLoads, numbers: Statics
) -> dict[str, Any]:
    """The sheet as plain data in bench units."""
    tip = numbers.tip_deg
    base = configuration.sheet.truck_price
    named = {key: value for key, value in vars(numbers).items() if key not in ("tip_deg", "ramp_first_lift")}
    return {
        "name": configuration.name,
        "hash": configuration.hash[:16],
        "invented": configuration.sheet.invented,
        "mass_g": 1e3 * truck.mass,
        "front_percent": loads.front_percent,
        "left_percent": loads.left_percent,
        "cross_percent": loads.cross_percent,
        "cg_mm": [1e3 * float(x) for x in truck.cg],
        "wheel_loads_g": loads.grams,
        "tip_deg": {"left": tip.left, "right": tip.right, "back": tip.back, "front": tip.front},
        **named,
        "clearance_mm": numbers.clearance_mm,
        "ramp_first_lift": numbers.ramp_first_lift,
        "price": [{"price": sum_.price, "currency": sum_.currency} for sum_ in configuration.price],
        "truck_price": None if base is None else {"price": base.price, "currency": base.currency},
        "unpriced": list(configuration.unpriced),
        "assumed": list(configuration.sheet.assumed),
        "warnings": _warnings(configuration, numbers),
    }


def _show(configuration: Configuration, truck: MassProperties, loads: WheelLoads, n: Statics) -> None:
    from models import glossary

    sheet_, tip = configuration.sheet, n.tip_deg
    invented = "  (invented)" if sheet_.invented else ""
    say(f"{configuration.name}, 1/{sheet_.scale:g}{invented}")
    if sheet_.note:
        say(f"  {sheet_.note}")
    x, y, z = (1e3 * float(v) for v in truck.cg)
    front_left, front_right, rear_left, rear_right = loads.grams
    show_table("Weight", ("", ""), [
        ("mass", f"{1e3 * truck.mass:.0f} g"),
        (f"{glossary.FRONT_BIAS} (front / rear)", f"{loads.front_percent:.1f} / {100 - loads.front_percent:.1f} %"),
        ("left / right", f"{loads.left_percent:.1f} / {100 - loads.left_percent:.1f} %"),
        ("front wheels, left and right", f"{front_left:.0f} g, {front_right:.0f} g"),
        ("rear wheels, left and right", f"{rear_left:.0f} g, {rear_right:.0f} g"),
        (glossary.CG_HEIGHT, f"{z:.1f} mm"),
        ("CG place", f"{x:.1f} mm ahead of the rear axle, {abs(y):.1f} mm {_side(y)}"),
    ])
    show_table("Handbook angles (rigid truck: real ones tip earlier)", ("", ""), [
        (f"{glossary.SIDEWAYS}, left / right", f"{tip.left:.1f}° / {tip.right:.1f}°"),
        (glossary.BACK, f"{tip.back:.1f}°"),
        (glossary.OVER, f"{tip.front:.1f}°"),
        (glossary.EDGE, f"{n.stability_distance_mm:.1f} mm from the weight"),
        (glossary.RISE, f"{n.stability_rise_mm:.1f} mm (normalised energy)"),
        (f"{glossary.SLIDES_BACK} / side-hill", f"{n.climb_grip_deg:.1f}° / {n.side_grip_deg:.1f}°"),
        ("ledge by grip, up to the radius: front / rear / whole",
         f"{n.front_ledge_mm:.0f} / {n.rear_ledge_mm:.0f} / {n.ledge_mm:.0f} mm (open between the axles: "
         f"{n.open_ledge_mm:.0f} mm)"),
        ("approach / breakover / departure",
         f"{n.approach_deg:.1f}° / {n.breakover_deg:.1f}° / {n.departure_deg:.1f}°"),
        ("clearance: belly / front / rear axle",
         f"{_mm(n.belly_clearance_mm)} / {_mm(n.front_axle_clearance_mm)} / {_mm(n.rear_axle_clearance_mm)}"),
        ("ramp travel index, 20° ramp", f"{n.ramp_travel_index:.0f} ({n.ramp_first_lift} lifts first)"),
    ])
    show_table("Drive and steering", ("", ""), [
        ("wheel speed, no load", f"{n.wheel_speed_m_per_s:.2f} m/s"),
        ("climb by torque alone", f"{n.climb_torque_deg:.1f}°"),
        ("front overdrive by gears / at the tyres", f"{n.overdrive_percent:+.1f} % / {n.lead_percent:+.1f} %"),
        ("servo needed at rest / there", f"{n.steer_needed_kgcm:.2f} / {n.steer_available_kgcm:.2f} kg·cm"),
        ("turning radius", f"{n.turning_radius_mm:.0f} mm"),
        ("anti-squat rear", f"{n.anti_squat_percent:.0f} %"),
        ("roll centre front / rear", f"{n.front_roll_centre_mm:.0f} / {n.rear_roll_centre_mm:.0f} mm"),
    ])
    _show_price(configuration)


FIRST = 5
"""Assumed values that are shown with how to measure them."""


def _doubt_data(doubt: Doubts) -> dict[str, Any]:
    return {
        "assumed_ranked": [
            {"key": one.assumed.key, "what": one.assumed.words, "angle": one.angle, "shift_deg": one.shift,
             "share_of_variance": one.gain, "measure": one.assumed.how} for one in doubt.ranked
        ],
        "half_width_95": doubt.half_widths,
    }  # fmt: skip


def _show_doubts(configuration: Configuration, doubt: Doubts, *, every: bool) -> None:
    assumed = configuration.sheet.assumed
    if doubt.ranked:
        show_table(
            "Assumed, not measured: what moves the angles most, and how to measure it",
            ("assumed", "moves", "by (95 %)", "measure"),
            [(one.assumed.words, one.angle, f"±{one.shift:.1f}°", one.assumed.how) for one in doubt.ranked[:FIRST]],
            left=2,
        )
        widths = doubt.half_widths
        said = [f"{name} ±{widths[name]:.1f}°" for name in ("tips sideways", "tips back on a climb",
                                                            "noses over on a descent")]
        say(f"By all that is assumed: {', '.join(said)}, front bias ±{widths['front bias']:.1f} %, CG height "
            f"±{widths['CG height']:.1f} mm (95 %).")
    if every and assumed:
        say(f"All that was assumed ({len(assumed)}): {', '.join(assumed)}")
    elif assumed:
        say(f"Assumed in all: {len(assumed)} values; --assumed lists them.")


def _limits(build: Path, changes: list[Path], wanted: list[str], *, quiet: bool) -> tuple[Swing, ...]:
    """Drive the truck with each unknown low and high."""
    from sim.cli.decision_options import folder_of, running
    from sim.decision.limit_doubts import cast, swings
    from sim.decision.obstacle_mix import lines
    from sim.decision.runner import yard
    from sim.decision.unknowns import priors
    from sim.trial.truck import load_truck

    truck = load_truck(build, changes)
    unknowns = priors(truck.configuration.sheet, "steady")
    mix = lines(wanted, (), yard(truck))
    with running([truck], mix, folder_of(None, build), driver="steady", seed=1, workers=None, quiet=quiet,
                 cases=cast(unknowns, "steady")) as field:
        return swings(field, mix, truck.hash, unknowns)


def _limit_data(moved: Sequence[Swing]) -> dict[str, Any]:
    found = [{"unknown": one.unknown.name, "sd_percent": one.unknown.sd, "line": one.line.name, "unit": one.line.unit,
              "limit": one.limit, "low": one.low, "high": one.high, "measure": one.unknown.bench} for one in moved]
    return {"limits": found} if found else {}


def _show_limits(moved: Sequence[Swing]) -> None:
    if not moved:
        return
    from sim.decision.wording import amount

    show_table(
        "What is not known, driven low and high (two standard deviations): how far the limit moves",
        ("unknown", "line", "limit", "low", "high", "measure"),
        [(one.unknown.text, one.line.name, amount(one.limit, one.line.unit), amount(one.low, one.line.unit, True),
          amount(one.high, one.line.unit, True), one.unknown.bench) for one in moved], left=2,
    )  # fmt: skip


def _drawn(configuration: Configuration, path: Path) -> list[Path]:
    from sim.chart.style import save
    from sim.chart.two_views import two_views

    formats = (path.suffix[1:],) if path.suffix in (".png", ".svg", ".pdf") else ("png",)
    return save(two_views(configuration.sheet), path.with_suffix("") if path.suffix else path, formats)


def _warnings(configuration: Configuration, n: Statics) -> list[str]:
    from models.room import rubbing
    from models.slips import slips
    from models.standing import wheel_heights

    found = list(slips(configuration.sheet))
    if n.steer_needed_kgcm > n.steer_available_kgcm:
        found.append(f"the servo cannot turn the wheels at rest ({n.steer_needed_kgcm:.2f} kg·cm needed, "
                     f"{n.steer_available_kgcm:.2f} there)")
    found += [wheel.text for wheel in wheel_heights(configuration.sheet)]
    found += [f"the {rub.tyre} rubs on {rub.by} at full lock and bump, {rub.depth:.1f} mm deep"
              for rub in rubbing(configuration.sheet)]
    return found


def _show_price(configuration: Configuration) -> None:
    base = configuration.sheet.truck_price
    parts = [f"truck {base.price:g} {base.currency}"] if base else []
    parts += [f"changes {money.price:g} {money.currency}" for money in configuration.price]
    parts += [f"no price given for {', '.join(configuration.unpriced)}"] if configuration.unpriced else []
    say(f"Price: {'; '.join(parts)}" if parts else "Price: none given.")


def _show_sources(numbers: Statics) -> None:
    for field in vars(numbers):
        try:
            formula = numbers.formula(field)
        except KeyError:
            continue
        say()
        say(field)
        for key, value in vars(formula).items():
            say(f"  {key.replace('_', ' ')}: {value}")


def _side(y: float) -> str:
    return "left of the middle" if y >= 0 else "right of the middle"


def _mm(value: float) -> str:
    return "unknown" if math.isnan(value) else f"{value:.1f} mm"
