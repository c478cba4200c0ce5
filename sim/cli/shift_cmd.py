"""``cragbench shift``: what moving a part does, before anything is drilled."""

from __future__ import annotations

import math
import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim.cli import decision_options as options
from sim.cli.console import note, say, show_table

if TYPE_CHECKING:
    from models.change import Change
    from sim.decision.ballast import Ballast, WeightOffer
    from sim.decision.caution import Caution
    from sim.decision.part_move import PartMove
    from sim.decision.runner import Field
    from sim.decision.shift import ShiftAnswer
    from sim.trial.truck import Truck

ASSUMED = "Limits: level at which the truck stops clearing, luck held fast; luck in start, grip, rocks, battery."


def shift(
    build: options.Build,
    part: Annotated[str, typer.Argument(help="Part to move, by its name on the sheet.", show_default=False)],
    to: Annotated[list[float] | None, typer.Option("--to", help="Position in mm to look at; left out, what is free. "
                                                             "May be given several times.")] = None,
    axis: Annotated[str, typer.Option(help="Along which it moves: x, y or z.")] = "x",
    along: Annotated[list[str] | None, typer.Option("--with", help="Part that goes along, such as its tray.")] = None,
    lift: Annotated[float, typer.Option(min=-100, max=200, help="mm it is raised as well.")] = 0.0,
    lead_to: Annotated[str | None, typer.Option(help="Part where its lead ends; left out, the speed control.")] = None,
    change: options.On = None,
    line: options.LineOption = None,
    course: options.CourseOption = None,
    weights: Annotated[list[Path] | None, typer.Option(help="Change that brings weight to the front axle, for the "
                       "price of a gram; left out, those in the build's folder of changes.")] = None,
    driver: options.Driver = "steady",
    second_driver: options.SecondDriver = "bump",
    seed: options.Seed = 1,
    most: Annotated[int, typer.Option(min=12, max=200, help="Repeats at most.")] = 12,
    least: options.Least = 1.0,
    luck_only: options.LuckOnly = False,
    known: options.Known = None,
    workers: options.Workers = None,
    out: options.Out = None,
    formats: options.Formats = "png,svg",
    as_json: options.Json = False,
) -> None:
    """Is moving a part worth it? Bias, tip angles and simulated limits against its position, and a verdict.

    The gain is the change of the chance to clear, averaged over a range of levels of every line of the mix. The word
    follows from luck, from what is not known of the truck and its driver (stated, narrowed by what was measured), and
    from leaving out one line at a time. Mind the pack, your eyes and the maker's instructions before drilling: see
    cragbench drilling.
    """
    from sim.decision import cases as casting
    from sim.decision import part_move, wording
    from sim.decision import shift as shifting
    from sim.decision.ballast import ballast
    from sim.decision.drilling import holes_to_drill
    from sim.decision.obstacle_mix import lines as make_lines
    from sim.decision.runner import yard
    from sim.errors import SimError

    asked = options.Asked(driver, as_json)
    if axis not in ("x", "y", "z"):
        raise SimError("no such axis", field="axis", value=axis, remedy="Choose x, y or z")
    if axis == "z" and lift:
        raise SimError("along z the part is moved up anyway", field="lift", value=lift, remedy="Give --to alone")
    sheet, changes = options.read(build, change)
    unknowns = () if luck_only else options.stated_priors(sheet, driver, second_driver, known)
    cases = casting.drawn(unknowns, driver, seed=seed) if unknowns else None
    move = part_move.plan(sheet, changes, part, axis=axis, along=along or (), to=to or (), lift=lift,  # type: ignore[arg-type]
                          lead_to=lead_to)
    trucks = [move.truck(None), *(move.truck(target) for target in move.targets)]
    lines = make_lines(line or (), course or (), yard(trucks[0]))
    if not as_json:
        _introduce(move)
    folder = options.folder_of(out, build)
    with options.trials(trucks, lines, folder, driver=driver, seed=seed, workers=workers, quiet=as_json,
                        cases=cases) as field:
        found = shifting.investigate(move, field, lines, trucks, most=most, least=least, cases=cases)
    after = trucks[1 + found.best].configuration.sheet
    like = ballast(move.sheet, after)
    holes = holes_to_drill(move.sheet, after)
    offered = _offers(move, weights, build)
    files = _draw(found, folder, formats, driver, trucks)
    told = [(trucks[1 + found.best].name, _warnings(found, trucks, field))]
    each = field.searches.trials / max(1, len(field.searches.found)) * len(lines) * 2

    def show() -> None:
        _show(found)
        say(sentence(found, each))
        if axis == "x":
            goes = [str(build), found.move.part, "--to", f"{found.position:g}"]
            goes += [word for one in along or () for word in ("--with", one)]
            say(f"As a change file: {shlex.join(['cragbench', 'change', *goes])}")
        for text in (wording.hanging(found.judgement), wording.intervals(found.judgement),
                     found.judgement.regret.text(holes=holes), equivalent(like, offered)):
            if text:
                say(text)
        if axis == "y":
            say(either_side(found))
        say(ASSUMED)

    asked.end(field, lines, as_data(found, like, offered), files, told, show, unknowns)


def sentence(found: ShiftAnswer, trials_each: float = 0.0) -> str:
    """The verdict on the best position that was driven."""
    from sim.decision.wording import verdict

    what = f"{found.move.part} at {found.move.axis} = {found.position:g} mm (now {found.move.room.now:g})"
    said = verdict(found.judgement, what, trials_each)
    if abs(found.likely_best - found.position) >= 3.0 and len(found.positions) > 2:
        said += f" A curve through all positions is highest near {found.likely_best:.0f} mm; try --to there."
    return said


def either_side(found: ShiftAnswer) -> str:
    """What a move across does to either side by the handbook."""
    tips = {s.position: s.tip_deg for s in found.statics}
    now, then = tips[found.move.room.now], tips[found.position]
    return ("Side-hills are driven on both sides by turns; a move across helps one at the cost of the other: by the "
            f"handbook it tips to the left (uphill right) at {then.left:.1f}° (now {now.left:.1f}), to the right "
            f"(uphill left) at {then.right:.1f}° (now {now.right:.1f}).")


def equivalent(like: Ballast, offered: tuple[WeightOffer, ...]) -> str:
    """Grams at the front axle that would do the same, and their price."""
    if like.for_bias_g <= 0.0 and like.for_climb_g <= 0.0:
        return "It brings no weight forward: no weight at the front axle stands for it."
    said = f"At the front axle, {_grams(like.for_bias_g)} would give the same front bias"
    said += f" and {_grams(like.for_climb_g)} the same handbook climb angle"
    if not offered:
        return said + "; no change with a price brings weight there."
    cheapest = offered[0]
    grams = max(g for g in (like.for_bias_g, like.for_climb_g) if math.isfinite(g))
    cost = grams * cheapest.per_gram
    said += f"; at the price of {cheapest.name} ({cheapest.cost.price:g} {cheapest.cost.currency} for "
    said += f"{cheapest.grams:.0f} g) that is up to {cost:.0f} {cheapest.cost.currency}"
    return said + (f", {grams / cheapest.grams:.1f} sets of it." if grams > cheapest.grams else ".")


def as_data(found: ShiftAnswer, like: Ballast, offered: tuple[WeightOffer, ...]) -> dict[str, Any]:
    """The finding as plain data in bench units."""
    return {
        "part": found.move.part,
        "axis": found.move.axis,
        "now_mm": found.move.room.now,
        "best_mm": found.position,
        "likely_best_mm": found.likely_best,
        "sentence": sentence(found),
        **options.judged(found.judgement),
        "room_mm": [found.move.room.low, found.move.room.high],
        "free_mm": found.move.room.free(),
        "statics": [
            {"at_mm": s.position, "front_percent": s.front_percent, "tip_deg": vars(s.tip_deg),
             "in_the_way": [b.by for b in s.blocked]} for s in found.statics
        ],
        "positions": [_position(found, k) for k in range(len(found.positions))],
        "front_axle_g": {"same_bias": like.for_bias_g, "same_climb": like.for_climb_g},
        "weights": [{"name": o.name, "grams": o.grams, "price": o.cost.price, "currency": o.cost.currency}
                    for o in offered],
    }


def _position(found: ShiftAnswer, k: int) -> dict[str, Any]:
    truck = found.found.trucks[k]
    limits = {line.name: vars(found.found.reached(truck, i)) for i, line in enumerate(found.lines)}
    row: dict[str, Any] = {"at_mm": found.positions[k], "config": truck, "limits": limits}
    if k:
        effect = found.effects[k - 1]
        row["gain"] = vars(effect.gain)
        row["shifts"] = {e.line.name: vars(e.shift) for e in effect.by_line}
    return row


def _introduce(move: PartMove) -> None:
    room = move.room
    free = ", ".join(f"{low:.0f} to {high:.0f}" for low, high in room.free() if high - low >= 1.0) or "nowhere"
    say(f"{move.part}, now at {move.axis} = {room.now:g} mm: room from {room.low:.0f} ({room.ends[0]}) to "
        f"{room.high:.0f} mm ({room.ends[1]}); free {free}.")
    _tell_ways(move)


def _tell_ways(move: PartMove) -> None:
    from models.room import lift_needed

    for target in move.targets:
        ways = move.room.at(target)
        if not ways:
            continue
        told = "; ".join(dict.fromkeys(b.by for b in ways))
        lift = lift_needed(move.sheet, move.part, target, along=move.along) if move.axis == "x" else None
        advice = f" Raised by {lift:g} mm it would be free: --lift {lift:g}." if lift else ""
        note(f"WARNING: at {target:g} mm these are in its way: {told}.{advice}")


def _show(found: ShiftAnswer) -> None:
    from sim.decision.wording import ranged

    statics = {s.position: s for s in found.statics}
    gains = ["now", *(ranged(effect.gain) for effect in found.effects)]
    rows = []
    for position, gain in zip(found.positions, gains, strict=True):
        s = statics[position]
        tip = s.tip_deg
        rows.append((f"{position:g}", f"{s.front_percent:.1f}", f"{tip.back:.1f}", f"{tip.front:.1f}",
                     f"{tip.left:.1f} / {tip.right:.1f}", gain))
    show_table(f"{found.move.part} along {found.move.axis}: handbook (rigid truck), and gain over the mix (luck only)",
               ("at, mm", "front, %", "climb, °", "descent, °", "left / right, °", "gain"), rows)
    options.show_contributions(found.judgement)


def _warnings(found: ShiftAnswer, trucks: list[Truck], field: Field) -> list[Caution]:
    """What to mind of the best position, by handbook and by its trials, beyond what holds where it is now."""
    from sim.decision.caution import cautions

    now, best = trucks[0], trucks[1 + found.best]
    return cautions(best.configuration.sheet, now.configuration.sheet, found.lines,
                    field.searches.exertion(best.hash), field.searches.exertion(now.hash))


def _offers(move: PartMove, weights: list[Path] | None, build: Path) -> tuple[WeightOffer, ...]:
    from models.change import load_change
    from models.errors import BuildSheetError
    from sim.decision.ballast import offers

    files = weights if weights is not None else sorted((build.parent / "changes" / build.stem).glob("*.toml"))
    changes: list[Change] = []
    for file in files:
        try:
            changes.append(load_change(file))
        except BuildSheetError:
            if weights is not None:
                raise
    return offers(move.sheet, changes)


def _draw(found: ShiftAnswer, folder: Path, formats: str, driver: str, trucks: list[Truck]) -> list[Path]:
    if not formats:
        return []
    from sim.chart import style
    from sim.chart.shift import shift as draw
    from sim.chart.tip_polar import tip_polar
    from sim.trial.tilt_table import tilted

    stem = f"shift-{found.move.part.replace(' ', '-').replace('/', '-')}"
    files = style.save(draw(found, sentence(found).split(". ")[0], f"{driver.capitalize()} driver."), folder / stem,
                       formats.split(","))
    shown = [trucks[0], trucks[1 + found.best]]
    polar = tip_polar([(truck.name, k, truck.configuration.sheet) for k, truck in enumerate(shown)],
                      simulated={truck.name: tilted(truck.model) for truck in shown})
    return [*files, *style.save(polar, folder / f"{stem}-tip", formats.split(","))]


def _grams(grams: float) -> str:
    return "no weight" if math.isinf(grams) else f"{grams:.0f} g"
