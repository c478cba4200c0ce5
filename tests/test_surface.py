"""The public surface changes only together with its record, so that a change shows in review."""

from __future__ import annotations

from surface import FILE, json_keys, surface


def test_commands_options_and_keys_are_those_on_record() -> None:
    now, before = set(surface()), set(FILE.read_text(encoding="utf-8").splitlines())
    remedy = "if meant: .venv/bin/python scripts/surface.py --record"
    assert sorted(now - before) == [], f"new, not on record; {remedy}"
    assert sorted(before - now) == [], f"gone; {remedy}"


def test_the_record_names_commands_options_and_keys() -> None:
    lines = FILE.read_text(encoding="utf-8").splitlines()
    assert "file: sheet.driveline.shafts_turn" in lines
    assert "command: drive --mirrored" in lines
    assert "exported column: min_margin_deg" in lines
    assert "json of start_cmd: assumed" in lines


def test_json_keys_are_read_from_what_is_printed() -> None:
    made = "def f():\n    show_json({'a': 1} | as_data(x))\ndef as_data(x):\n    return {'b': {'c': x}, **x}\n{'d': 1}"
    assert json_keys(made) == {"a", "b", "c"}
