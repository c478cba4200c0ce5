"""The public surface changes only together with its record, so that a change shows in review."""

from __future__ import annotations

from surface import FILE, surface


def test_commands_options_and_keys_are_those_on_record() -> None:
    now, before = set(surface()), set(FILE.read_text(encoding="utf-8").splitlines())
    remedy = "if meant: .venv/bin/python scripts/surface.py --record"
    assert sorted(now - before) == [], f"new, not on record; {remedy}"
    assert sorted(before - now) == [], f"gone; {remedy}"


def test_the_record_names_commands_options_and_file_keys() -> None:
    lines = FILE.read_text(encoding="utf-8").splitlines()
    assert "file: sheet.driveline.shafts_turn" in lines
    assert "command: drive --mirrored" in lines
    assert "exported column: min_margin_deg" in lines
