"""What a page says about each truck: grams, bias, money, tip angles, and how they differ from the baseline's."""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from PIL import Image, ImageOps, UnidentifiedImageError

from models import glossary
from models.errors import BuildSheetError
from models.footprint import level_footing
from models.massprops import contact_places, truck_properties
from models.spec import Sheet
from models.stability import tip_angles
from sim.chart.value import ValueMark
from sim.compare.comparison import Comparison
from sim.statistics.paired import Verdict
from sim.store.store import StoredTruck

PHOTO_PIXELS = 720
LARGEST_PHOTO = 40_000_000
"""Bytes of a picture file that is read at all."""


@dataclass(frozen=True)
class CardRow:
    """One number of a truck with the baseline's beside it."""

    words: str
    value: float
    unit: str
    digits: int
    change: float | None

    @property
    def text(self) -> str:
        """Value with its unit."""
        return _with_unit(f"{self.value:.{self.digits}f}", self.unit)

    @property
    def change_text(self) -> str:
        """Difference to the baseline, signed; empty where there is none to speak of."""
        if self.change is None or abs(self.change) < 0.5 * 10.0**-self.digits:
            return ""
        # A difference of two percentages is in points: 7 points more on the front axle are not 7 % more.
        return _with_unit(f"{self.change:+.{self.digits}f}", "points" if self.unit == "%" else self.unit)


@dataclass(frozen=True)
class TruckCard:
    """One configuration."""

    name: str
    series: int
    config: str
    baseline: bool
    changes: tuple[str, ...]
    price: str
    rows: tuple[CardRow, ...]
    photo: str | None
    """Data address of a picture."""
    pooled: Verdict | None
    """All obstacles together against the baseline."""
    sheet: Sheet | None
    invented: bool


def cards(
    comparison: Comparison, known: dict[str, StoredTruck], sheets: dict[str, Sheet], names: Sequence[str], folder: Path,
) -> list[TruckCard]:
    """Cards in series order; ``folder`` is where photos are looked for."""
    configs = {cell.name: cell.config for cell in comparison.cells}
    configs.setdefault(comparison.baseline.name, comparison.baseline.hash)
    measured = {c: _measures(known.get(c, StoredTruck(c, c, {})).facts, sheets.get(c)) for c in configs.values()}
    base = measured[comparison.baseline.hash]
    out = []
    for series, name in enumerate(names):
        config = configs[name]
        facts = known.get(config, StoredTruck(config, name, {})).facts
        is_base = config == comparison.baseline.hash
        rows = tuple(
            CardRow(words, value, unit, digits, None if is_base or words not in base else value - base[words][0])
            for words, (value, unit, digits) in measured[config].items()
        )
        out.append(
            TruckCard(name, series, config, is_base, tuple(str(c) for c in facts.get("changes", ())), _price(facts),
                      rows, _photo(sheets.get(config), folder), comparison.overall.get(config), sheets.get(config),
                      bool(facts.get("invented", False)))
        )
    return out


def gains(found: Sequence[TruckCard], known: dict[str, StoredTruck]) -> list[ValueMark]:
    """What each changed truck gains over the baseline, for the value chart."""
    base = next(card for card in found if card.baseline)
    base_facts = known[base.config].facts if base.config in known else {}
    out = []
    for card in found:
        if card.pooled is None or card.config not in known or not card.pooled.table.pairs:
            continue
        facts = known[card.config].facts
        if "mass_g" not in facts or "mass_g" not in base_facts:
            continue
        money, currency = _extra_money(facts, base_facts)
        grams = float(facts["mass_g"]) - float(base_facts["mass_g"])
        gain = card.pooled.difference
        out.append(ValueMark(card.name, card.series, grams, money, currency, gain, card.pooled.table.pairs))
    return out


def _extra_money(facts: dict[str, Any], base: dict[str, Any]) -> tuple[float | None, str]:
    sums = {str(s["currency"]): float(s["price"]) for s in facts.get("price", ())}
    before = {str(s["currency"]): float(s["price"]) for s in base.get("price", ())}
    currencies = sorted({*sums, *before})
    if len(currencies) != 1 or facts.get("unpriced"):
        return None, ""
    return sums.get(currencies[0], 0.0) - before.get(currencies[0], 0.0), currencies[0]


def _measures(facts: dict[str, Any], sheet: Sheet | None) -> dict[str, tuple[float, str, int]]:
    out: dict[str, tuple[float, str, int]] = {}
    if "mass_g" in facts:
        out["mass"] = (float(facts["mass_g"]), "g", 0)
    if "front_percent" in facts:
        out[glossary.FRONT_BIAS] = (float(facts["front_percent"]), "%", 1)
    if "cg_mm" in facts:
        out[glossary.CG_HEIGHT] = (float(facts["cg_mm"][2]), "mm", 1)
    if sheet is not None:
        try:
            places, cg = contact_places(sheet), truck_properties(sheet).cg
        except BuildSheetError:
            return out
        tip, footing = tip_angles(places, cg).in_degrees(), level_footing(places, cg)
        out[glossary.BACK] = (tip.back, "°", 1)
        out[glossary.OVER] = (tip.front, "°", 1)
        out[f"{glossary.SIDEWAYS}, left low"] = (tip.left, "°", 1)
        out[f"{glossary.SIDEWAYS}, right low"] = (tip.right, "°", 1)
        out[glossary.EDGE] = (1000.0 * footing.distance, "mm", 1)
        out[glossary.RISE] = (1000.0 * footing.rise, "mm", 1)
    return out


def _price(facts: dict[str, Any]) -> str:
    sums = [f"{float(s['price']):g} {s['currency']}" for s in facts.get("price", ())]
    missing = len(facts.get("unpriced", ()))
    if missing:
        sums.append(f"{missing} without a price")
    return " + ".join(sums)


def _photo(sheet: Sheet | None, folder: Path) -> str | None:
    if sheet is None or not sheet.photo:
        return None
    path = Path(sheet.photo) if Path(sheet.photo).is_absolute() else folder / sheet.photo
    try:
        if path.stat().st_size > LARGEST_PHOTO:
            return None
        with Image.open(path) as opened:
            picture = ImageOps.exif_transpose(opened).convert("RGB")
        picture.thumbnail((PHOTO_PIXELS, PHOTO_PIXELS))
        buffer = io.BytesIO()
        # A fresh file: what else a phone wrote into it (place, time) stays behind.
        picture.save(buffer, "JPEG", quality=82)
    except (OSError, ValueError, UnidentifiedImageError, Image.DecompressionBombError):
        return None
    return "data:image/jpeg;base64," + base64.b64encode(buffer.getvalue()).decode("ascii")


def _with_unit(number: str, unit: str) -> str:
    return f"{number}°" if unit == "°" else f"{number} {unit}"
