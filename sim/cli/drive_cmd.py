"""``cragbench drive``: one trial."""

from __future__ import annotations

from dataclasses import asdict, replace
from functools import partial
from typing import TYPE_CHECKING, Annotated

import typer

from sim.cli.console import say, show_json
from sim.cli.options import Build, Change, Driver, Json

if TYPE_CHECKING:
    from sim.physics.simulation import EngineMaker


def drive(
    build: Build,
    obstacle: Annotated[str, typer.Argument(help="Obstacle with its level, as ledge:30 or climb:35.")],
    change: Change = None,
    seed: Annotated[int, typer.Option(min=0, help="Decides the luck: start, grip, rocks, battery, driver.")] = 1,
    driver: Driver = "steady",
    fair: Annotated[bool, typer.Option("--fair", help="No luck: on the lane, nominal grip and battery.")] = False,
    mirrored: Annotated[bool, typer.Option("--mirrored", help="Exchange left and right of the ground.")] = False,
    trace: Annotated[bool, typer.Option("--trace", help="Add the tip-over margin over time to the JSON.")] = False,
    watch: Annotated[bool, typer.Option("--watch", help="Watch it in a window, in real time; needs a screen.")] = False,
    both: Annotated[
        bool, typer.Option("--both-engines", help="Drive it in the second engine, PyBullet, too and compare.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Drive one truck over one obstacle once, and say what happened and why."""
    from sim.batch.study import make_task, yard_of
    from sim.physics.engine_compiled import TreeEngine
    from sim.trial import ground_cache, perform
    from sim.trial.luck import Variation
    from sim.trial.task import record
    from sim.trial.truck import load_truck

    where, level = ground_cache.split(obstacle)
    truck = load_truck(build, change or [])
    luck = Variation(start_offset_mm=0, heading_deg=0, grip_percent=0, voltage_percent=0) if fair else Variation()
    task = make_task(
        truck.hash,
        where,
        level,
        0,
        yard=yard_of(truck.model),
        driver_name=driver,
        seed=seed,
        variation=luck,
        keep_trace=trace or as_json,
    )
    task = replace(task, draw=replace(task.draw, mirrored=mirrored))
    engine: EngineMaker = TreeEngine
    if watch:
        from sim.physics.engine_bullet import BulletWindow

        luck_of = task.draw
        ground = ground_cache.ground(where, level, task.yard, luck_of.roughness_mm, luck_of.rock_seed, mirrored).ground
        engine = partial(BulletWindow, ground=ground)
    trucks = {truck.hash: truck.model}
    result = perform.perform(trucks, task, engine)
    found = record(result)
    other = None
    if both:
        from sim.physics.engine_bullet import BulletEngine

        other = record(perform.perform(trucks, task, BulletEngine))
    if as_json:
        data = {
            "build": truck.name,
            "obstacle": ground_cache.with_level(where, level),
            "driver": driver,
            "seed": seed,
            **asdict(found),
        }
        if other is not None:
            data["second_engine"] = asdict(other)
        if trace and result.trace is not None:
            motion = result.trace
            data["margin_trace"] = {
                "interval_s": motion.interval,
                "margin_deg": [float(x) * 57.29577951308232 for x in motion.margin],
            }
        show_json(data)
        return
    say(f"{truck.name} on {ground_cache.with_level(where, level)}, driver {driver}, seed {seed}")
    say(f"  {found.outcome}: {found.reason}")
    say(f"  {found.time_s:.1f} s, {found.distance_mm:.0f} mm along the lane")
    say(f"  smallest tip-over margin {found.min_margin_deg:.1f} deg (force-angle; 0 once it has gone over)")
    say(f"  wheel slip {100 * found.slip:.0f} %, belly strikes {found.belly_strikes}, deepest tyre "
        f"{found.max_sink_mm:.1f} mm")
    say(f"  peak current {found.peak_current_a:.1f} A, servo at its limit {100 * found.servo_saturation:.0f} % of the "
        f"time, {found.energy_j:.1f} J from the pack")
    say(f"  fastest {1e3 * found.top_speed_mps:.0f} mm/s, sliding over its own tread at up to "
        f"{1e3 * found.top_slide_mps:.0f} mm/s")
    if other is not None:
        say(f"  in PyBullet: {other.outcome}: {other.reason}; the smallest margins are "
            f"{abs(other.min_margin_deg - found.min_margin_deg):.1g} deg apart, the times "
            f"{abs(other.time_s - found.time_s):.1g} s")
    if found.outcome == "invalid":
        say("  The solver failed here: this is no result. Please keep the command line above and report it.")
    say("One trial is an anecdote: `cragbench batch` repeats it with paired luck.")
