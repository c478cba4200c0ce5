"""``cragbench terrain``: look at obstacles, bring in one's own rocks, take ground out again."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim.cli.console import say, show_json, show_table
from sim.cli.ground_options import Json, Scale, SizedFor, Tyre, Wheelbase, check_picture, file_stem, sized_for
from sim.cli.options import Build, Change, Driver
from sim.cli.terrain_import_cmd import import_file
from terrain.whole_file import told_whole

if TYPE_CHECKING:
    from terrain.yardstick import Yardstick

Obstacle = Annotated[str, typer.Argument(help="ledge:30, a .ground.npz or a course .toml.", show_default=False)]
Seed = Annotated[int, typer.Option(min=0, help="Decides rocks and texture.")]

app = typer.Typer(
    no_args_is_help=True, add_completion=False, rich_markup_mode="rich", help="Obstacles, courses and your own rocks."
)


@app.command("list")
def list_families(
    truck: SizedFor = None, wheelbase: Wheelbase = None, tyre: Tyre = None, scale: Scale = None, as_json: Json = False
) -> None:
    """Every obstacle family with its levels for a truck, its parameters and the standard it follows."""
    from terrain.families.registry import FAMILIES

    yard, _ = sized_for(truck, wheelbase, tyre, scale)
    if as_json:
        show_json([_described(family, yard) for family in FAMILIES.values()])
        return
    rows = []
    for family in FAMILIES.values():
        levels = " / ".join(f"{level:g}" for level in family.levels(yard))
        options = ", ".join(f"{p.short}={p.default:g}" for p in family.parameters)
        rows.append([family.name, family.summary, f"{levels} {family.unit}", options])
    show_table(
        f"Levels easy / middling / hard for a wheelbase of {1e3 * yard.wheelbase:g} mm and tyres of "
        f"{2e3 * yard.tyre_radius:g} mm",
        ["Obstacle", "What it is", "Levels", "Parameters"],
        rows,
        left=2,
    )
    for family in FAMILIES.values():
        if family.standard:
            say(f"{family.name}: {family.standard}")
    say("Write one as ledge:30 or ledge-on-slope:30,slope=15; see it with: cragbench terrain show ledge:30")


def _described(family: Any, yard: Yardstick) -> dict[str, Any]:
    return {
        "name": family.name,
        "unit": family.unit,
        "summary": family.summary,
        "levels": list(family.levels(yard)),
        "limit": list(family.limit(yard)),
        "parameters": [
            {"name": p.name, "default": p.default, "low": p.low, "high": p.high, "meaning": p.meaning}
            for p in family.parameters
        ],
        "standard": family.standard,
    }


@app.command()
def show(
    obstacle: Obstacle,
    out: Annotated[Path | None, typer.Option("--out", "-o", help="Picture to write: .png or .svg.")] = None,
    seed: Seed = 1, truck: SizedFor = None,
    wheelbase: Wheelbase = None, tyre: Tyre = None, scale: Scale = None, as_json: Json = False,
) -> None:
    """Draw an obstacle before it is driven: relief, slopes, and the side view with the truck to scale."""
    from sim.chart.terrain_chart import draw_obstacle
    from terrain import catalog, file_name, from_file
    from terrain.catalog import parse

    yard, view = sized_for(truck, wheelbase, tyre, scale)
    wanted = parse(obstacle)
    made = catalog.from_text(
        obstacle, wheelbase=yard.wheelbase, tyre_radius=yard.tyre_radius, seed=seed, scale=yard.scale
    )
    path = out if out is not None else Path(f"{file_stem(obstacle)}.png")
    check_picture(path)
    gates = from_file.gates(wanted.family, wanted.level, yard, seed) if file_name.names_file(wanted.family) else ()
    with told_whole(path) as part:
        draw_obstacle(made, part, truck=view, gates=gates)
    if as_json:
        show_json(_facts(made) | {"picture": str(path)})
        return
    facts = _facts(made)
    say(
        f"{made.family} {made.level:g} {made.unit}: {facts['length_mm']:.0f} x {facts['width_mm']:.0f} mm, "
        f"{facts['relief_mm']:.1f} mm of relief, {facts['nodes'][0]} x {facts['nodes'][1]} nodes "
        f"of {facts['cell_mm']:g} mm"
    )
    say(f"Wrote {path}")


def _facts(made: Any) -> dict[str, Any]:
    x_min, x_max, y_min, y_max = made.ground.extent
    return {
        "family": made.family,
        "level": made.level,
        "unit": made.unit,
        "length_mm": 1e3 * (x_max - x_min),
        "width_mm": 1e3 * (y_max - y_min),
        "relief_mm": 1e3 * float(made.ground.z.max() - made.ground.z.min()),
        "nodes": list(made.ground.z.shape),
        "cell_mm": 1e3 * made.ground.spacing,
        "lane_mm": (1e3 * made.lane).tolist(),
        "finish_mm": 1e3 * made.finish_s,
        "detail": made.detail,
    }


@app.command("sheet")
def contact_sheet(
    out: Annotated[Path, typer.Option("--out", "-o", help="Picture to write: .png or .svg.")] = Path("obstacles.png"),
    seed: Seed = 1, truck: SizedFor = None,
    wheelbase: Wheelbase = None, tyre: Tyre = None, scale: Scale = None,
) -> None:
    """Draw every family at three levels on one sheet (about a quarter of a minute)."""
    from sim.chart.contact_sheet import draw_contact_sheet

    yard, _ = sized_for(truck, wheelbase, tyre, scale)
    check_picture(out)
    with told_whole(out) as part:
        draw_contact_sheet(part, wheelbase=yard.wheelbase, tyre_radius=yard.tyre_radius, seed=seed, scale=yard.scale)
    say(f"Wrote {out}")


@app.command()
def export(
    obstacle: Obstacle,
    out: Annotated[Path, typer.Option("--out", "-o", help=".stl, .obj, .ply, .glb, .png (16 bit) or .tif.")],
    base_mm: Annotated[float | None, typer.Option(min=0.1, help="Close it to a block this thick, to print.")] = None,
    every: Annotated[int, typer.Option(min=1, max=100, help="Keep each n-th node of a mesh.")] = 1,
    seed: Seed = 1, truck: SizedFor = None,
    wheelbase: Wheelbase = None, tyre: Tyre = None, scale: Scale = None, as_json: Json = False,
) -> None:
    """Write ground as a mesh (mm; to print or mill a piece of course) or as a height image."""
    from terrain import catalog, file_name, from_file
    from terrain.errors import TerrainError
    from terrain.image_file import export_image
    from terrain.mesh_file import export_mesh

    suffix = out.suffix.lower()
    if suffix not in (".stl", ".obj", ".ply", ".glb", ".png", ".tif", ".tiff"):
        raise TerrainError("not a kind that can be written", file=out, remedy="use .stl .obj .ply .glb .png or .tif")
    yard, _ = sized_for(truck, wheelbase, tyre, scale)
    ground = from_file.bare_ground(obstacle) if file_name.names_file(obstacle) else None
    if ground is None:
        ground = catalog.from_text(
            obstacle, wheelbase=yard.wheelbase, tyre_radius=yard.tyre_radius, seed=seed, scale=yard.scale
        ).ground
    told: dict[str, Any] = {"file": str(out)}
    with told_whole(out) as part:
        if suffix in (".png", ".tif", ".tiff"):
            told["height_step_mm"] = 1e3 * export_image(ground, part)
        else:
            base = None if base_mm is None else 1e-3 * base_mm
            told["triangles"] = export_mesh(ground, part, base=base, every=every)
    if as_json:
        show_json(told)
    else:
        say(f"Wrote {out}" + (f" with {told['triangles']} triangles" if "triangles" in told else ""))


@app.command()
def score(
    course: Annotated[Path, typer.Argument(help="Course file (.toml).", show_default=False)], build: Build,
    change: Change = None,
    percent: Annotated[float, typer.Option(min=1, max=500, help="Every obstacle's level in percent.")] = 100.0,
    seed: Annotated[int, typer.Option(min=0, help="Decides rocks, texture and the driver's hand.")] = 1,
    driver: Driver = "steady", as_json: Json = False,
) -> None:
    """Drive a course once and count gates and points by its own rules."""
    from dataclasses import asdict

    from sim.batch.study import yard_of
    from sim.trial import course_run
    from sim.trial.driver import named
    from sim.trial.truck import load_truck
    from terrain.course_build import build as build_course
    from terrain.course_file import load_course
    from terrain.yardstick import Yardstick

    truck = load_truck(build, change or [])
    size = yard_of(truck.model)
    yard = Yardstick(1e-3 * size.wheelbase_mm, 1e-3 * size.tyre_radius_mm, size.scale)
    built = build_course(load_course(course), yard, seed=seed, percent=percent)
    found = course_run.run(truck.model, built, named(driver), seed)
    if as_json:
        gates = [
            {"gate": g.name, "passed": g.passed_at is not None, "skipped": g.skipped, "touched": g.touched}
            for g in found.gates
        ]
        summary = {"points": found.score.points, "out": found.score.out, "outcome": found.result.outcome}
        show_json(summary | {"reason": found.result.reason, "gates": gates, "tally": asdict(found.tally)})
        return
    say(f"{truck.name} on {built.name}, driver {driver}, seed {seed}")
    say(f"  {found.result.outcome}: {found.result.reason} after {found.result.time:.1f} s")
    for what, count, points in found.score.lines:
        say(f"  {count} x {what}: {points:+g}")
    say(f"  {found.score.points:g} points (fewer is better){', out' if found.score.out else ''}")


app.command("import")(import_file)
