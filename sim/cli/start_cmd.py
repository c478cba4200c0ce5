"""``cragbench start``: a first build sheet from twelve questions."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sim.cli.console import note, say, show_json

if TYPE_CHECKING:
    from models.spec import Sheet
    from models.start import Started


def start(
    name: Annotated[str, typer.Argument(help="What the truck is called; its file is named after it.",
                                        show_default=False)],
    scale: Annotated[str | None, typer.Option(help="1/24, 1/18, 1/10 or between.")] = None,
    wheelbase: Annotated[str | None, typer.Option(help="Axle to axle; mm unless a unit is given.")] = None,
    track: Annotated[str | None, typer.Option(help="Middle of tyre to middle of tyre; front / rear if they differ.")]
    = None,
    tyre_diameter: Annotated[str | None, typer.Option(help="Unloaded; front / rear if they differ.")] = None,
    tyre_width: Annotated[str | None, typer.Option(help="Across the tread.")] = None,
    mass: Annotated[str | None, typer.Option(help="Whole truck on the scale; g unless a unit is given.")] = None,
    front: Annotated[str | None, typer.Option(help="Front wheels on the scale, rear ones on a block as high.")] = None,
    rear: Annotated[str | None, typer.Option(help="Rear wheels on the scale.")] = None,
    left: Annotated[str | None, typer.Option(help="Left wheels on the scale.")] = None,
    battery: Annotated[str | None, typer.Option(help="Battery pack alone.")] = None,
    battery_at: Annotated[str | None, typer.Option(help="Middle of the pack, mm ahead of the rear axle; or front, "
                                                        "middle, rear.")] = None,
    weighed: Annotated[str | None, typer.Option(help='Other parts weighed alone: "servo 11, front wheel 14".')] = None,
    portal_drop: Annotated[str | None, typer.Option(help="Portal axles: how far the wheel sits below the axle.")]
    = None,
    answers: Annotated[Path | None, typer.Option(help="File with answers (TOML), by the names of these options.")]
    = None,
    out: Annotated[Path | None, typer.Option(help="Sheet to write; left out, the name with .toml.")] = None,
    draw: Annotated[bool, typer.Option(help="Draw the truck beside the sheet.")] = True,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON; asks nothing.")] = False,
) -> None:
    """Start a build sheet: at most twelve questions, the rest from a typical truck made to agree with your scale."""
    from models.answers import answers_of
    from models.start import start as work_out
    from models.start_text import text_of

    target = out or Path(f"{_stem(name)}.toml")
    _check_free(target)
    options = {
        "scale": scale, "wheelbase": wheelbase, "track": track, "tyre_diameter": tyre_diameter,
        "tyre_width": tyre_width, "mass": mass, "front": front, "rear": rear, "left": left, "battery": battery,
        "battery_at": battery_at, "weighed": weighed, "portal_drop": portal_drop,
    }  # fmt: skip
    given = _from_file(answers) | {key: value for key, value in options.items() if value is not None}
    if not as_json and answers is None and _terminal():
        given |= _asked(given)
    started = work_out(answers_of(name, given))
    _write(target, text_of(started))
    from models.sheet import load_sheet

    sheet = load_sheet(target)
    pictures = _drawn(sheet, target) if draw else []
    if as_json:
        show_json(as_data(started, sheet, target, pictures))
        return
    _show(started, sheet, target, pictures)


def as_data(started: Started, sheet: Sheet, file: Path, pictures: list[Path]) -> dict[str, Any]:
    """What was made, in bench units."""
    from models.massprops import truck_properties, wheel_loads

    truck = truck_properties(sheet)
    loads = wheel_loads(sheet, truck)
    return {
        "sheet": str(file), "pictures": [str(picture) for picture in pictures], "mass_g": 1e3 * truck.mass,
        "front_percent": loads.front_percent, "wheel_loads_g": loads.grams,
        "cg_mm": [1e3 * float(v) for v in truck.cg], "notes": started.notes,
        "measured": [p["name"] for p in started.data["parts"] if p["source"] == "measured"],
        "assumed": [*started.data["assumed"],
                    *(p["name"] for p in started.data["parts"] if p["source"] != "measured"), *sheet.assumed],
    }  # fmt: skip


def _show(started: Started, sheet: Sheet, file: Path, pictures: list[Path]) -> None:
    from models.slips import slips

    found = as_data(started, sheet, file, pictures)
    say(f"Wrote {file}: {len(file.read_text(encoding='utf-8').splitlines())} lines, {found['mass_g']:.0f} g, "
        f"front bias {found['front_percent']:.1f} %, CG height {found['cg_mm'][2]:.0f} mm.")
    for text in started.notes:
        say(f"NOTE: {text}.")
    for text in slips(sheet):
        say(f"NOTE: {text}.")
    weighed = found["measured"]
    say(f"Measured: {', '.join(weighed) if weighed else 'no part alone'}. The rest is assumed from typical "
        f"1/{sheet.scale:g} trucks and made to agree with the scale.")
    for picture in pictures:
        say(f"Drew {picture}: look whether parts are where they are on your truck.")
    say(f"Next: `cragbench sheet {file}` says what to measure first; `cragbench change {file} \"battery\" --to X` "
        "writes a change.")


def _terminal() -> bool:
    return sys.stdin.isatty()


def _stem(name: str) -> str:
    from models.errors import BuildSheetError

    stem = "-".join("".join(c if c.isalnum() else " " for c in name.lower()).split())
    if not stem:
        raise BuildSheetError("this name has no letters.", remedy="Give the truck a name.", field="name", value=name)
    return stem[:60]


def _check_free(target: Path) -> None:
    from models.errors import BuildSheetError

    if target.exists():
        raise BuildSheetError("is there already; a sheet is never overwritten.",
                              remedy="Name another file with --out.", file=target)


def _from_file(file: Path | None) -> dict[str, Any]:
    if file is None:
        return {}
    from models.record import read_toml

    return read_toml(file)


def _asked(given: dict[str, Any]) -> dict[str, Any]:
    """Ask what is not given yet; each answer is checked at once and asked again if it is none."""
    from models.answers import QUESTIONS, answers_of, read_scale
    from models.errors import BuildSheetError
    from models.start import start as work_out
    from models.typical import typical

    say("Twelve questions at most; Enter alone takes a typical truck's figure. A kitchen scale and a ruler will do. "
        "Battery in, as you drive it. The word back goes to the question before.")
    found: dict[str, Any] = {}
    asked: list[int] = []
    number = 0
    while number < len(QUESTIONS):
        question = QUESTIONS[number]
        so_far = {**given, **found}
        follows = question.key == "rear" and "mass" in so_far and "front" in so_far  # from the two
        if question.key in given or follows:
            number += 1
            continue
        usual = ""
        if question.usual is not None:
            range_ = typical(question.usual, read_scale(so_far["scale"]))
            usual = f" (usual {range_.low:g} to {range_.high:g}; Enter: {range_.value:g}, assumed)"
        answer = str(typer.prompt(f"{question.words} [{question.hint}]{usual}", default="", show_default=False)).strip()
        if answer.lower() == "back":
            number = asked.pop() if asked else number
            found.pop(QUESTIONS[number].key, None)
            continue
        try:
            if answer or question.key == "scale":
                # The whole truck too, while it can still be mended.
                work_out(answers_of("check", {**so_far, question.key: answer}))
                found[question.key] = answer
        except BuildSheetError as fault:
            note(str(fault))
            continue
        asked.append(number)
        number += 1
    return found


def _write(target: Path, text: str) -> None:
    from models.errors import BuildSheetError

    try:
        with target.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as fault:
        raise BuildSheetError(f"cannot be written: {fault.strerror}.", remedy="Name a folder that you may write to.",
                              file=target) from None  # fmt: skip


def _drawn(sheet: Sheet, target: Path) -> list[Path]:
    from models.defaults import resolve
    from sim.chart.style import save
    from sim.chart.two_views import two_views

    return save(two_views(resolve(sheet)), target.with_suffix(""), ("png",))
