"""What is wrong with a line that is no TOML, in the builder's words: decimal commas, units, fractions, curly quotes."""

from __future__ import annotations

import re

_LINE = re.compile(r"at line (\d+)")
_KEY = re.compile(r"\s*[A-Za-z0-9_.-]+\s*=")
_TYPED = "these are typographic quotes.", 'Write straight ones, "like this" (smart quotes off in the editor).'
_CURLY = "\u201c\u201d\u201e\u201f\u2018\u2019\u201a\u00ab\u00bb"


def toml_slips(text: str, fault: str) -> list[tuple[str, str]]:
    """Say what is wrong and what to write instead, for every line that has such a slip, in the order of the file.

    :param fault: what the reader said, with its line: the first that it could not read.
    """
    found = _LINE.search(fault)
    number = int(found[1]) if found else 0
    lines = text.splitlines()
    # A value that breaks off is noticed at the start of the next line.
    first = next((at for at in (number, number - 1) if 0 < at <= len(lines) and _slip(lines[at - 1])), None)
    if first is None:
        if "overwrite" in fault.lower():
            return [(f"not valid TOML: {fault}.", "The key or table appears twice; delete one of the two.")]
        remedy = 'Text needs quotes ("like this"), decimals a point (1.5), lists commas, and each key its own line.'
        return [(f"not valid TOML: {fault}.", remedy)]
    # Further down only what stands behind a key counts: curly quotes within a text or a remark are no slip.
    slips = [(first, _slip(lines[first - 1])), *((at, value_slip(line)) for at, line in enumerate(lines, start=1)
                                                if at > first and _KEY.match(line))]
    return [(f"line {at}: {slip[0]}", slip[1]) for at, slip in slips if slip is not None]


def _slip(line: str) -> tuple[str, str] | None:
    return _TYPED if any(quote in line for quote in _CURLY) else value_slip(line)


def value_slip(line: str) -> tuple[str, str] | None:
    """Say what is wrong with what stands behind a key; None where that is nothing known."""
    key, _, value = line.partition("=")
    value = value.split("#")[0].strip()
    if value[:1] and value[0] in _CURLY:
        return _TYPED
    if (match := re.fullmatch(r"([+-]?\d+),(\d+)", value)) is not None:
        return f"{value} has a decimal comma.", f"Write {key.strip()} = {match[1]}.{match[2]}."
    if (match := re.fullmatch(r"1\s*[/:]\s*(\d+(?:\.\d+)?)", value)) is not None:
        return f"{value} is no number.", f"Write {key.strip()} = {match[1]}."
    if (match := re.fullmatch(r"([+-]?\d+(?:[.,]\d+)?)\s*([A-Za-z°µΩ][A-Za-z°µΩ·/²]*)", value)) is not None:
        number = match[1].replace(",", ".")
        return (f"{value} has its unit behind it.",
                f"Write {key.strip()} = {number}: the bare number, in the unit that the key names.")
    return None
