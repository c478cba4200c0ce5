"""Text from files as it may be shown: control characters are made visible wherever it goes."""

from __future__ import annotations

import re

_CONTROLS = re.compile(
    r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]|\r(?!\n)"
)
"""Controls but tab and the ends of lines; separators, signs that turn the direction of writing, half characters."""


def without_controls(text: str) -> str:
    """The text with every control character written out as a programmer would (``\\x1b``)."""
    return _CONTROLS.sub(lambda found: found[0].encode("unicode_escape").decode("ascii"), text)


def in_json(text: str) -> str:
    """JSON whose texts hold no control character, written out as JSON does it: it reads as the same data."""
    return _CONTROLS.sub(lambda found: f"\\u{ord(found[0]):04x}", text)
