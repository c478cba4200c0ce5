"""``cragbench weigh``: mass, centre of gravity, bias and cross weight from what a scale and a ruler said."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim.cli.console import say, show_json, show_table
from sim.cli.options import Json, ReadingsFile

if TYPE_CHECKING:
    from models.bench.session import WeighingResult
    from models.spec import Sheet


def weigh(
    readings: ReadingsFile,
    sheet: Annotated[Path | None, typer.Option(help="Build sheet, for lengths that were not measured.")] = None,
    ask: Annotated[bool, typer.Option("--ask", help="Be asked for the readings; writes the file.")] = False,
    new: Annotated[bool, typer.Option("--new", help="Write a blank readings file to fill in.")] = False,
    chart: Annotated[Path | None, typer.Option(help="Picture to write, without its ending.")] = None,
    as_json: Json = False,
) -> None:
    """Weigh a truck: wheel loads, bias, cross weight and centre of gravity, with intervals; names what disagrees."""
    from models.bench.session import weigh as work_out
    from models.sheet import load_sheet

    truck = None if sheet is None else load_sheet(sheet)
    if new:
        _write_blank(readings, truck)
        say(f"Wrote {readings}. Fill it in with any text editor, then: cragbench weigh {readings}"
            + (f" --sheet {sheet}" if sheet else ""))
        return
    if ask:
        from sim.cli.asking import ask_for_readings

        ask_for_readings(readings, truck)
    found = work_out(readings, truck)
    files = [] if chart is None else _draw(found, chart)
    if as_json:
        show_json({**as_data(found), "charts": [str(file) for file in files]})
        return
    show(found, truck)
    for file in files:
        say(f"Wrote {file}")
    if truck is not None:
        say(f"Next: `cragbench fit {sheet} {readings} --out NEW.toml` makes the sheet agree.")


def _write_blank(file: Path, sheet: Sheet | None) -> None:
    from models.bench.blank import blank_readings
    from models.bench.procedure import PACK_CAUTION
    from models.errors import write_new

    text = blank_readings("your truck" if sheet is None else sheet.name, PACK_CAUTION)
    write_new(file, text, "readings are never overwritten", "Name another file.")


def as_data(found: WeighingResult) -> dict[str, Any]:
    """The result as plain data in bench units."""
    results = {}
    for name, interval in found.balance.results.items():
        factor, key = _UNIT[name]
        shown = interval.times(factor)
        results[key] = {"value": shown.value, "low": shown.low, "high": shown.high}
    return {
        "truck": found.readings.truck,
        "simulated": found.readings.simulated,
        **results,
        "covariance": {"order": ["mass_g", "x_mm", "y_mm", "z_mm"], "values": 1e6 * found.balance.covariance},
        "cg_sigma_mm": _sigma(found),
        "scatter_g": 1e3 * found.balance.scatter,
        "surprise": found.balance.surprise,
        "lifts": [
            {"angle_deg": 57.29577951308232 * angle, "height_mm": 1e3 * h.value, "low_mm": 1e3 * h.low,
             "high_mm": 1e3 * h.high, "scale_under": on, "going": going}
            for angle, h, on, going in found.balance.lift_heights
        ],
        "findings": [{"kind": f.kind, "serious": f.serious, "text": f.text} for f in found.findings],
    }  # fmt: skip


_UNIT = {
    "mass": (1e3, "mass_g"), "x": (1e3, "cg_x_mm"), "y": (1e3, "cg_y_mm"), "height": (1e3, "cg_z_mm"),
    "front_percent": (1.0, "front_percent"), "left_percent": (1.0, "left_percent"),
    "cross_percent": (1.0, "cross_percent"), "front_left": (1e3, "front_left_g"),
    "front_right": (1e3, "front_right_g"), "rear_left": (1e3, "rear_left_g"), "rear_right": (1e3, "rear_right_g"),
}  # fmt: skip
_SAID = {
    "mass": ("mass", "g", 1), "front_left": ("front left", "g", 1), "front_right": ("front right", "g", 1),
    "rear_left": ("rear left", "g", 1), "rear_right": ("rear right", "g", 1), "front_percent": ("front bias", "%", 2),
    "left_percent": ("left", "%", 2), "cross_percent": ("cross (front right + rear left)", "%", 2),
    "x": ("CG place, ahead of the rear axle", "mm", 1),
    "y": ("CG place, left of the middle", "mm", 1),
    "height": ("CG height", "mm", 1),
}  # fmt: skip


def show(found: WeighingResult, sheet: Sheet | None) -> None:
    """Print the result."""
    simulated = "  (simulated readings of an invented truck)" if found.readings.simulated else ""
    say(f"{found.readings.truck}{simulated}")
    says = _by_sheet(sheet)
    rows = []
    for name, (words, unit, digits) in _SAID.items():
        if not found.balance.has(name):
            rows.append((words, "not measured", "", _cell(says.get(name), digits)))
            continue
        i = found.balance.results[name].times(_UNIT[name][0])
        value, span = _cell(i.value, digits), f"{i.low:.{digits}f} to {i.high:.{digits}f}"
        rows.append((words, f"{value} {unit}", span, _cell(says.get(name), digits)))
    show_table("", ["", "found", "95 % interval", "sheet"], rows)
    lifts = found.balance.lift_heights
    if lifts:
        show_table(
            "CG height by each lift, h = r + (l / W) dF / tan(angle)",
            ["scale under", "going", "lift angle", "height", "95 % interval"],
            [(on, going, f"{57.2958 * angle:.1f} deg", f"{h.value:.1f} mm", f"{h.low:.1f} to {h.high:.1f}")
             for angle, h, on, going in ((a, h.times(1e3), on, going) for a, h, on, going in lifts)], left=2,
        )  # fmt: skip
    serious = [f for f in found.findings if f.serious]
    if serious:
        say("The readings disagree:")
    for finding in serious:
        say(f"  - {finding.text}")
    if not serious:
        chance = found.balance.surprise
        told = "" if chance != chance else f" (chance of more disagreement than this: {chance:.0%})"
        say(f"The readings agree with each other within what scale and ruler allow{told}.")
    for finding in found.findings:
        if not finding.serious:
            say(f"  {finding.text}")
    sigma = _sigma(found)
    if all(value == value for value in sigma):
        say(f"To let a plan's trials feel this doubt: [variation] cg_mm = [{', '.join(f'{v:.2f}' for v in sigma)}]")


def _sigma(found: WeighingResult) -> list[float]:
    """Standard uncertainties of the centre of gravity, mm; NaN where it is not known."""
    known = [found.balance.has(name) for name in ("x", "y", "height")]
    variances = [float(found.balance.covariance[n, n]) for n in (1, 2, 3)]
    return [1e3 * v**0.5 if has else float("nan") for has, v in zip(known, variances, strict=True)]


def _cell(value: float | None, digits: int) -> str:
    return "" if value is None else f"{round(value, digits) + 0.0:.{digits}f}"


def _by_sheet(sheet: Sheet | None) -> dict[str, float]:
    if sheet is None:
        return {}
    from models.massprops import truck_properties, wheel_loads

    truck = truck_properties(sheet)
    loads = wheel_loads(sheet, truck)
    x, y, z = (1e3 * float(v) for v in truck.cg)
    return {
        "mass": 1e3 * truck.mass, "front_percent": loads.front_percent, "left_percent": loads.left_percent,
        "cross_percent": loads.cross_percent, "x": x, "y": y, "height": z,
        **dict(zip(("front_left", "front_right", "rear_left", "rear_right"), loads.grams, strict=True)),
    }  # fmt: skip


def _draw(found: WeighingResult, path: Path) -> list[Path]:
    from sim.chart.bench_chart import lift_chart
    from sim.chart.style import save
    from sim.errors import SimError

    if not found.balance.lift_heights:
        raise SimError("nothing to draw: no axle was lifted", field="chart", remedy="Leave --chart out")
    return save(lift_chart(found), path.with_suffix("") if path.suffix in (".png", ".svg") else path)
