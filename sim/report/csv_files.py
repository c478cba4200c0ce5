"""Every number of the page as CSV texts, by file name."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from sim.chart.value import ValueMark
from sim.compare.comparison import Comparison
from sim.compare.export import comparison_row, for_spreadsheet
from sim.replay.clip import Clip
from sim.replay.page_data import samples
from sim.replay.picks import Pick
from sim.report.endings import Ends
from sim.report.truck_card import TruckCard
from terrain import file_name

Rows = Sequence[Mapping[str, Any]]


def csv_texts(
    comparison: Comparison, cards: Sequence[TruckCard], ends: Ends, clips: Sequence[tuple[Pick, Clip]],
    gains: Sequence[ValueMark],
) -> dict[str, str]:
    """CSV texts by file name; a file without rows is left out."""
    tables: dict[str, Rows] = {
        "success.csv": [comparison_row(cell) for cell in comparison.cells],
        "trucks.csv": [_truck(card) for card in cards],
        "endings.csv": list(_endings(ends, {card.config: card.name for card in cards})),
        "gains.csv": [_gain(gain) for gain in gains],
        "margins.csv": [row for pick, clip in clips for row in _margins(pick, clip)],
    }
    return {name: text(rows) for name, rows in tables.items() if rows}


def text(rows: Rows) -> str:
    """CSV of rows that share their keys."""
    buffer = io.StringIO()
    writer = csv.DictWriter(buffer, list(dict.fromkeys(key for row in rows for key in row)), lineterminator="\n")
    writer.writeheader()
    writer.writerows({key: for_spreadsheet(value) for key, value in row.items()} for row in rows)
    return buffer.getvalue()


def _truck(card: TruckCard) -> dict[str, Any]:
    units = {"g": "_g", "%": "_percent", "mm": "_mm", "°": "_deg"}
    measures = {f"{row.words.replace(' ', '_')}{units[row.unit]}": round(row.value, 4) for row in card.rows}
    return {
        "configuration": card.name,
        "config": card.config,
        "baseline": card.baseline,
        "changes": " + ".join(card.changes),
        "price": card.price,
        "invented": card.invented,
        **measures,
    }


def _endings(ends: Ends, names: Mapping[str, str]) -> Iterable[dict[str, Any]]:
    for ((obstacle, level, driver), config), ended in sorted(ends.cells.items()):
        for (outcome, reason), count in ended.counts.most_common():
            yield {
                "configuration": names.get(config, config),
                "obstacle": file_name.without_folder(obstacle),
                "level": level,
                "driver": driver,
                "outcome": outcome,
                "reason": reason,
                "trials": count,
            }


def _gain(gain: ValueMark) -> dict[str, Any]:
    return {
        "configuration": gain.name,
        "pairs": gain.pairs,
        "gain_points": 100 * gain.gain.value,
        "gain_low_points": 100 * gain.gain.low,
        "gain_high_points": 100 * gain.gain.high,
        "grams_added": gain.grams,
        "price_added": gain.money,
        "currency": gain.currency,
    }


def _margins(pick: Pick, clip: Clip) -> Iterable[dict[str, Any]]:
    for i in samples(clip)[::2]:
        yield {
            "configuration": clip.actor.name,
            "obstacle": clip.place,
            "repeat": clip.repeat,
            "time_s": round(float(clip.trace.time[i]), 3),
            "margin_deg": round(float(np.degrees(clip.trace.margin[i])), 2),
            "along_mm": round(1e3 * float(clip.trace.extra[i, 0]), 1),
        }
