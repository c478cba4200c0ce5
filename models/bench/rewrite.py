"""A new build sheet from an old one: comments, order and all that was not touched stay as the builder wrote them."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from models.bench.measurement import Mark, Setting
from models.bench.reconcile import Fit, stiffness_factors
from models.checks import check_sheet
from models.errors import BuildSheetError, write_new
from models.key import join
from models.massprops import truck_properties
from models.part_mass import mass_key
from models.record import read_toml, validated
from models.short import filled
from models.spec import LOOSE_PART, Sheet

LEAST_MM, LEAST_G, LEAST_SHARE = 0.2, 0.05, 0.005
"""Smaller moves than these are left as the builder wrote them."""


class Draft:
    """A sheet's text being changed."""

    def __init__(self, file: Path) -> None:
        """Read a sheet file.

        :raises BuildSheetError: it cannot be read.
        """
        read_toml(file)
        self.file = file
        self._settled: list[tuple[str, ...]] = []
        try:
            self.document: Any = tomlkit.parse(file.read_text(encoding="utf-8-sig"))
        except (OSError, TOMLKitError) as fault:
            raise BuildSheetError(f"cannot be read: {fault}.", file=file) from None

    def sheet(self) -> Sheet:
        """Give the sheet as it stands now, checked.

        :raises BuildSheetError: what was set does not make a truck.
        """
        data = self.document.unwrap()
        for shape in data.get("hull", []):
            if "file" in shape:
                shape["file"] = str((self.file.parent / shape["file"]).resolve())
        sheet = validated(Sheet, filled(data), self.file)
        check_sheet(sheet)
        return sheet

    def put(self, settings: Sequence[Setting]) -> None:
        """Set values, each with a comment saying how it came about."""
        for setting in settings:
            self._put(setting)

    def _put(self, setting: Setting) -> None:
        table: Any = self.document
        for step in setting.key[:-1]:
            table = self._below(table, step, setting.key)
        last = setting.key[-1]
        if setting.value is None:
            if last in table:
                del table[last]
            return
        value = tomlkit.item(setting.value)
        old = table.get(last)
        table[last] = value
        if last != "source":
            remark = setting.mark + (f": {setting.remark}" if setting.remark else "")
            if hasattr(table[last], "comment") and not isinstance(table, tomlkit.items.InlineTable):
                table[last].comment(remark + (f" (was {_short(old)})" if old is not None and old != value else ""))
        self._settled.append(setting.key)

    def _below(self, table: Any, step: str, key: tuple[str, ...]) -> Any:
        if isinstance(table, list):
            for entry in table:
                if entry.get("name") == step:
                    return entry
            raise BuildSheetError("the sheet has no such entry.", file=self.file, field=join(key))
        if step not in table:
            table[step] = tomlkit.table()
        return table[step]

    def add_part(self, entry: dict[str, Any], remark: str) -> None:
        """Put a part behind the last one."""
        parts = self.document["parts"]
        table: Any = tomlkit.inline_table() if isinstance(parts, tomlkit.items.Array) else tomlkit.table()
        for key, value in entry.items():
            table[key] = tomlkit.item(value)
        if isinstance(parts, tomlkit.items.Array):
            parts.add_line(table, comment=remark, indent="    ")
            return
        table["mass_g"].comment(remark)
        parts.append(table)

    def say(self, name: str, note: str) -> None:
        """Give the new sheet its name and a note."""
        self.document["name"] = name
        old = self.document.get("note", "")
        self.document["note"] = f"{old} {note}".strip()
        if "assumed" in self.document:
            settled = {join(key) for key in self._settled}
            self.document["assumed"] = [key for key in self.document["assumed"] if key not in settled]

    def write(self, target: Path) -> None:
        """Write the new sheet, never over anything.

        :raises BuildSheetError: there is something already, or it cannot be written.
        """
        self.sheet()
        for shape in self.document.get("hull", []):
            if "file" in shape:
                mesh = (self.file.parent / str(shape["file"])).resolve()
                shape["file"] = os.path.relpath(mesh, target.resolve().parent)
        write_new(target, tomlkit.dumps(self.document), "a sheet is never overwritten")


def _short(value: Any) -> str:
    text = str(value.unwrap() if hasattr(value, "unwrap") else value)
    return text if len(text) <= 40 else "a table" if text.startswith("[[") else text[:37] + "..."


def fitted(fit: Fit, sheet: Sheet) -> list[Setting]:
    """Turn a fit into settings: what moved by more than the bench can see, with its mark."""
    by_part: dict[str, dict[str, Any]] = {}
    for moved in fit.moved:
        if moved.unknown.part not in (None, LOOSE_PART):
            by_part.setdefault(str(moved.unknown.part), {})[moved.unknown.key[2]] = moved
    found: list[Setting] = []
    for part in sheet.parts:
        moves = by_part.get(part.name, {})
        weighed = part.name in fit.weighed
        mark: Mark = "measured" if weighed else "fitted"
        places = [moves[a].after if a in moves else at for a, at in zip("xyz", part.at_mm, strict=True)]
        shifted = any(abs(new - old) >= LEAST_MM for new, old in zip(places, part.at_mm, strict=True))
        mass = moves.get("mass")
        heavier = mass is not None and (
            weighed or abs(mass.after - mass.before) >= max(LEAST_G, LEAST_SHARE * mass.before))
        if mass is not None and heavier:
            found.append(Setting(("parts", part.name, mass_key(part.body)), round(mass.after, 2), mark,
                                 f"±{_plain(1.96 * mass.doubt_after)} g"))
        if shifted:
            doubt = max((1.96 * moves[a].doubt_after for a in "xz" if a in moves), default=0.0)
            found.append(Setting(("parts", part.name, "at_mm"), [round(v, 2) for v in places], "fitted",
                                 f"±{_plain(doubt)} mm"))
        if heavier or shifted:
            found.append(Setting(("parts", part.name, "source"), mark, "fitted"))
    return [*found, *_stiffnesses(fit, sheet)]


def _plain(doubt: float) -> str:
    return f"{doubt:.0f}" if doubt >= 10.0 else f"{doubt:.1f}"


def _stiffnesses(fit: Fit, sheet: Sheet) -> list[Setting]:
    springs, tyres = stiffness_factors(fit)
    found: list[Setting] = []
    for end in ("front", "rear"):
        if springs is not None and abs(springs - 1.0) > 0.005:
            rate = getattr(sheet.axles, end).shock.rate_n_per_mm * springs
            key = ("axles", end, "shock", "rate_n_per_mm")
            found.append(Setting(key, float(f"{rate:.3g}"), "fitted", "tilt table"))
        if tyres is None or abs(tyres - 1.0) <= 0.005:
            continue
        tyre = getattr(sheet.tyres, end)
        if tyre.squish is not None:
            rows = [[round(grams * tyres, 1), mm] for grams, mm in tyre.squish]
            found.append(Setting(("tyres", end, "squish"), rows, "fitted", "tilt table"))
        elif tyre.stiffness_n_per_mm is not None:
            value = float(f"{tyre.stiffness_n_per_mm * tyres:.3g}")
            found.append(Setting(("tyres", end, "stiffness_n_per_mm"), value, "fitted", "tilt table"))
        found.append(Setting(("tyres", end, "source"), "fitted", "fitted"))
    return found


def loose_part(fit: Fit, sheet: Sheet) -> dict[str, Any] | None:
    """Make the entry for the grams that no part stands for; None if there are next to none.

    :param sheet: with everything else written: what the small moves left out come to goes here too.
    """
    grams = 1000.0 * (float(fit.predictor.state(fit.values)[0]) - truck_properties(sheet).mass)
    if fit.unaccounted_g < LEAST_G or grams < LEAST_G:
        return None
    at = {m.unknown.key[2]: m.after for m in fit.moved if m.unknown.part == LOOSE_PART}
    base, track = sheet.wheelbase_mm, sheet.axles.front.track_mm
    return {
        "name": LOOSE_PART,
        "mass_g": round(grams, 2),
        "at_mm": [round(at[axis], 2) for axis in "xyz"],
        "size_mm": [round(0.5 * base, 1), round(0.3 * track, 1), round(0.1 * base, 1)],
        "source": "fitted",
    }
