"""Results as tables for other programs: CSV and Parquet."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from models.plain_text import without_controls
from sim.compare.comparison import CellResult, Comparison
from sim.compare.limits import Limit
from sim.compare.textbook import KARBER, LOGIT, PROBIT
from sim.errors import SimError, writing
from sim.store.store import COLUMNS, Store
from terrain import file_name
from terrain.whole_file import whole

_TEXTBOOK = {LOGIT: "difference_logit", PROBIT: "difference_probit", KARBER: "difference_spearman_karber"}


def comparison_row(cell: CellResult) -> dict[str, Any]:
    """One cell of a comparison, flat, every number with its unit in the name."""
    said, shift = cell.verdict, cell.margin_difference
    return {
        "configuration": cell.name,
        "config": cell.config,
        "obstacle": file_name.without_folder(cell.obstacle),
        "level": cell.level,
        "unit": cell.unit,
        "driver": cell.driver,
        "n": cell.rate.trials,
        "successes": cell.rate.successes,
        "invalid": cell.invalid,
        "rolled_percent": 100 * cell.rolled.share,
        "success_mirrored_percent": 100 * cell.sides[1].share if cell.sides else None,
        "success_unmirrored_percent": 100 * cell.sides[0].share if cell.sides else None,
        "success_percent": 100 * cell.rate.share,
        "success_low_percent": 100 * cell.rate.low,
        "success_high_percent": 100 * cell.rate.high,
        "margin_median_deg": cell.margin_median.value,
        "margin_median_low_deg": cell.margin_median.low,
        "margin_median_high_deg": cell.margin_median.high,
        "margin_p5_deg": cell.margin_p5.value,
        "margin_p5_low_deg": cell.margin_p5.low,
        "margin_p5_high_deg": cell.margin_p5.high,
        "pairs": said.table.pairs if said else None,
        "difference_points": 100 * said.difference.value if said else None,
        "difference_low_points": 100 * said.difference.low if said else None,
        "difference_high_points": 100 * said.difference.high if said else None,
        "difference_unmirrored_points": 100 * cell.side_gains[0].value if cell.side_gains else None,
        "difference_mirrored_points": 100 * cell.side_gains[1].value if cell.side_gains else None,
        "mcnemar_exact_p": said.exact_p if said else None,
        "anytime_p": said.anytime_p if said else None,
        "verdict": said.words if said else "baseline",
        "margin_difference_deg": shift.value if shift else None,
        "margin_difference_low_deg": shift.low if shift else None,
        "margin_difference_high_deg": shift.high if shift else None,
    }


def limit_row(limit: Limit) -> dict[str, Any]:
    """One limit, flat; levels in the obstacle's own unit."""
    shift = limit.difference
    return {
        "configuration": limit.name,
        "config": limit.config,
        "obstacle": file_name.without_folder(limit.obstacle),
        "unit": limit.unit,
        "driver": limit.driver,
        "n": limit.trials,
        "half": limit.half.value,
        "half_low": limit.half.low,
        "half_high": limit.half.high,
        "half_unmirrored": limit.sides[0].value if limit.sides else None,
        "half_mirrored": limit.sides[1].value if limit.sides else None,
        "ninety": limit.ninety.value,
        "ninety_low": limit.ninety.low,
        "ninety_high": limit.ninety.high,
        "fit_p": limit.belief.fit(),
        "doubtful": limit.doubtful,
        "two_groups": limit.groups_text or None,
        "difference": shift.value if shift else None,
        "difference_low": shift.low if shift else None,
        "difference_high": shift.high if shift else None,
        **{f"{column}{end}": getattr(limit.textbook[name], part) if name in limit.textbook else None
           for name, column in _TEXTBOOK.items() for end, part in (("", "value"), ("_low", "low"), ("_high", "high"))},
        "verdict": limit.word,
    }


def write_comparison_csv(comparison: Comparison, path: Path) -> Path:
    """Write a comparison, one line per cell."""
    rows = [comparison_row(cell) for cell in comparison.cells]
    with written(path) as part, part.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows({key: for_spreadsheet(value) for key, value in row.items()} for row in rows)
    return path


def write_trials_csv(store: Store, path: Path) -> int:
    """Write every trial, one line each, in the store's fixed order; returns how many."""
    count = 0
    with written(path) as part, part.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(("configuration", *COLUMNS))
        for row in _named_rows(store):
            writer.writerow([for_spreadsheet(value) for value in row])
            count += 1
    return count


def write_trials_parquet(store: Store, path: Path) -> int:
    """Write every trial as a Parquet file; needs pyarrow.

    :raises SimError: pyarrow is not installed.
    """
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise SimError("Parquet needs the pyarrow library", field="parquet",
                       remedy="Install it with `pip install pyarrow`, or write CSV") from error
    names = ("configuration", *COLUMNS)
    columns = list(zip(*_named_rows(store), strict=True)) or [()] * len(names)
    table = pa.table({name: list(column) for name, column in zip(names, columns, strict=True)})
    with written(path) as part:
        pq.write_table(table, part)
    return int(table.num_rows)


def _named_rows(store: Store) -> Iterator[tuple[Any, ...]]:
    names = {h: configuration.name for h, configuration in store.configurations().items()}
    config = COLUMNS.index("config")
    for row in store.table():
        yield (names.get(row[config], row[config]), *row)


def for_spreadsheet(value: Any) -> Any:
    """A text without control characters; one that a spreadsheet would run as a formula is made a plain text."""
    if not isinstance(value, str):
        return value
    return f"'{without_controls(value)}" if value[:1] in ("=", "+", "-", "@", "\t", "\r") else without_controls(value)


@contextmanager
def written(path: Path, remedy: str = "Give another place") -> Iterator[Path]:
    """A file to write that takes its place at ``path`` only when whole; a SimError names one that cannot be written."""
    with writing(path, remedy), whole(path) as part:
        yield part
