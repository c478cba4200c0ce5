"""The same invented trucks by full sheet and by the short one that ``cragbench start`` makes of their readings.

    .venv/bin/python scripts/short_sheets.py --out short            statics and the verdict on a moved pack
    .venv/bin/python scripts/short_sheets.py --out short --statics  statics alone, in a minute

Two trucks that are not in the repository are made from the example 1/18 and 1/10 with other masses, wheelbases and
shells. What a builder would weigh and measure on them is answered to ``start``, nothing else. Prints front bias, angles
and the verdict of ``shift`` by both sheets, beside what the short sheet lists as its uncertainty. Answers stay in the
folder: started again it goes on.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import tomlkit

ROOT = Path(__file__).resolve().parent.parent
DATA = ROOT / "models" / "scenario_data"
PLACES = ("at_mm", "chassis_mm", "axle_mm")


@dataclass(frozen=True)
class Invented:
    """One truck, by how it differs from an example."""

    name: str
    like: str
    seed: int
    longer: float
    shell: float
    weighed: tuple[tuple[str, str], ...]
    """Words of the answer, and the part's name."""
    left: bool


WHEELS = ("front wheel", "front tyre and foam")
TRUCKS = (
    Invented("Markhor", "dassie", 18, 1.07, 1.25, (("servo", "steering servo"), ("motor", "motor")), left=False),
    Invented("Urial", "takin", 10, 0.97, 0.80, (("servo", "steering servo"), ("motor", "motor")), left=True),
)
SHOWN = (("front bias", "%", "front_percent", None), ("CG height", "mm", "cg_mm", 2),
         ("tips sideways", "deg", "tip_deg", "left"), ("tips back on a climb", "deg", "tip_deg", "back"),
         ("noses over on a descent", "deg", "tip_deg", "front"), ("slides on a climb", "deg", "climb_grip_deg", None),
         ("approach", "deg", "approach_deg", None), ("breakover", "deg", "breakover_deg", None),
         ("departure", "deg", "departure_deg", None))
"""What is told, with its unit, and where the answer of ``sheet`` has it."""


def full(truck: Invented, out: Path) -> Path:
    """Write the truck's own sheet: every part with a mass and place of its own.

    :returns: Its file.
    """
    rng = np.random.default_rng(truck.seed)
    data = tomllib.loads((DATA / f"{truck.like}.toml").read_text(encoding="utf-8"))
    data |= {"name": truck.name, "note": "Invented.", "invented": True}
    _stretch(data, truck.longer)
    for part in data["parts"]:
        factor = truck.shell if part["name"] == "body shell" else float(rng.normal(1.0, 0.1))
        for key in ("mass_g", "mass_each_g"):
            if key in part:
                part[key] = round(part[key] * factor, 2)
    file = out / f"{truck.name.lower()}-full.toml"
    file.write_text(tomlkit.dumps(data), encoding="utf-8")
    return file


def _stretch(value: Any, factor: float) -> None:
    """Make everything longer along x, links and hull alike; the packs' and motors' own sizes stay."""
    if isinstance(value, dict):
        for key, inner in value.items():
            if key in PLACES:
                value[key] = [round(inner[0] * factor, 2), *inner[1:]]
            elif key in ("x_mm", "wheelbase_mm"):
                value[key] = round(inner * factor, 2)
            elif key != "holes":
                _stretch(inner, factor)
    elif isinstance(value, list):
        for inner in value:
            _stretch(inner, factor)


def short(truck: Invented, whole: Path, out: Path) -> Path:
    """Answer ``start`` with what a scale and a ruler say of the full truck; returns the sheet's file."""
    from models.answers import answers_of
    from models.massprops import truck_properties, wheel_loads
    from models.sheet import load_sheet
    from models.start import start
    from models.start_text import text_of

    sheet = load_sheet(whole)
    parts = {part.name: part for part in sheet.parts}
    mass = {name: float(part.mass_g or part.mass_each_g or 0.0) for name, part in parts.items()}
    loads = wheel_loads(sheet)
    four = loads.grams  # front left, front right, rear left, rear right
    weighed = {words: round(mass[name], 1) for words, name in truck.weighed}
    weighed["front wheel"] = round(sum(mass[name] for name in WHEELS), 1)
    front = sheet.axles.front
    answers: dict[str, Any] = {
        "scale": f"1/{sheet.scale:g}", "wheelbase": round(front.x_mm - sheet.axles.rear.x_mm, 1),
        "track": front.track_mm, "tyre_diameter": sheet.tyres.front.outside_diameter_mm,
        "tyre_width": sheet.tyres.front.width_mm, "mass": round(1e3 * truck_properties(sheet).mass, 1),
        "front": round(four[0] + four[1], 1), "battery": round(mass["battery"], 1),
        "battery_at": round(parts["battery"].at_mm[0], 1), "weighed": weighed}
    if truck.left:
        answers["left"] = round(four[0] + four[2], 1)
    if front.portal_drop_mm:
        answers["portal_drop"] = front.portal_drop_mm
    file = out / f"{truck.name.lower()}-short.toml"
    file.write_text(text_of(start(answers_of(truck.name, answers))), encoding="utf-8")
    return file


def asked(words: list[str], file: Path) -> dict[str, Any]:
    """Answer of a command: from its file, else by running it.

    :raises SystemExit: It failed.
    """
    if not file.exists():
        done = subprocess.run([sys.executable, "-m", "sim.cli.main", *words, "--json"], cwd=ROOT, capture_output=True,
                              text=True, check=False)
        if done.returncode:
            raise SystemExit(f"{' '.join(words)}: {done.stderr.strip()}")
        file.write_text(done.stdout, encoding="utf-8")
    found: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    return found


def verdict(truck: Invented, build: Path, to: float, out: Path, *, luck_only: bool) -> dict[str, Any]:
    """What ``shift`` says of the pack and its tray moved forward to a place."""
    words = ["shift", str(build), "battery", "--with", "battery tray", "--to", f"{to:g}", "--workers", "1", "--formats",
             "", "--out", str(out / build.stem)]
    return asked(words + ["--luck-only"] * luck_only, out / f"{build.stem}.json")


def told_statics(pairs: list[tuple[dict[str, Any], ...]]) -> str:
    """By full sheet, by short sheet, and the short one's listed 95 %."""
    rows = [f"|{' | full | short | listed' * len(pairs)} |", "|---" * (1 + 3 * len(pairs)) + "|"]
    for words, unit, key, inner in SHOWN:
        row = [f"{words}, {unit}"]
        for whole, brief in pairs:
            own, theirs = (one[key] if inner is None else one[key][inner] for one in (whole, brief))
            row += [f"{own:.1f}", f"{theirs:.1f}", f"±{brief['half_width_95'][words]:.1f}"]
        rows.append(f"| {' | '.join(row)} |")
    return "\n".join(rows)


def ranged(one: dict[str, float]) -> str:
    """Value with its interval."""
    return f"{one['value']:+.1f} ({one['low']:+.1f} to {one['high']:+.1f})"


def main() -> None:
    """Make the trucks and print both tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, default=Path("short"))
    parser.add_argument("--statics", action="store_true")
    given = parser.parse_args()
    out = given.out.resolve()
    out.mkdir(parents=True, exist_ok=True)
    sheets = {}
    for truck in TRUCKS:
        whole = full(truck, out)
        sheets[truck] = whole, short(truck, whole, out)
    print(told_statics([tuple(asked(["sheet", str(one)], out / f"{one.stem}-sheet.json") for one in pair)
                        for pair in sheets.values()]))
    for pair in sheets.values():
        print(", ".join(f"{one.name}: {len(one.read_text(encoding='utf-8').splitlines())} lines" for one in pair))
    if given.statics:
        return
    for truck, (whole, brief) in sheets.items():
        data = tomllib.loads(whole.read_text(encoding="utf-8"))
        at = next(part["at_mm"][0] for part in data["parts"] if part["name"] == "battery")
        to = float(round(at + 0.6 * data["axles"]["front"]["x_mm"]))
        own, theirs = verdict(truck, whole, to, out, luck_only=True), verdict(truck, brief, to, out, luck_only=False)
        print(f"| {truck.name}, pack from {at:.0f} to {to:.0f} mm | {own['verdict']} | {ranged(own['luck_only'])} | "
              f"{theirs['verdict']} | {ranged(theirs['luck_only'])} | {ranged(theirs['luck_and_unknowns'])} |")


if __name__ == "__main__":
    main()
