"""Who is at which trial: batches on one store share the work instead of doing it twice.

A claim is a note with an end: whoever dies, sleeps or loses its machine's clock just stops renewing it, and another
batch takes the trial. Two that do the same trial all the same store the same bits, and the store keeps one.
"""

from __future__ import annotations

import os
import platform
import time
import uuid
from collections.abc import Sequence
from pathlib import Path

from sim.store.store import Store

LEASE_S = 30.0
RENEW_S = 8.0


class Claims:
    """The claims of one batch."""

    def __init__(self, store: Store, lease_s: float = LEASE_S) -> None:
        """Claim nothing yet."""
        self.owner = f"{_place()} {os.getpid()} {_started(os.getpid())} {uuid.uuid4().hex[:12]}"
        self._store = store
        self._lease_s = lease_s
        self._held: set[str] = set()
        self._renewed = _now()

    def take(self, keys: Sequence[str]) -> set[str]:
        """Claim trials that nobody else is at; returns those that are now ours."""
        if not keys:
            return set()
        now = _now()
        until = now + self._lease_s
        ours = self._store.claim(keys, self.owner, until, lambda owner, end: end < now or _gone(owner))
        self._held |= ours
        return ours

    def release(self, keys: Sequence[str]) -> None:
        """Give up trials that are not run after all; those that are stored need no release."""
        self._held.difference_update(keys)
        if keys:
            self._store.insert("DELETE FROM claim WHERE key = ? AND owner = ?", [(key, self.owner) for key in keys])

    def done(self, keys: Sequence[str]) -> None:
        """Trials that were stored: their claims are gone with it."""
        self._held.difference_update(keys)

    def renew(self) -> None:
        """Say from time to time that we are still at it."""
        if _now() - self._renewed > RENEW_S and self._held:
            self.take(sorted(self._held))
            self._renewed = _now()

    def close(self) -> None:
        """Give everything up."""
        self.release(sorted(self._held))


def _now() -> float:
    """Seconds since this machine started, which no change of the clock moves; elsewhere the clock."""
    if hasattr(time, "CLOCK_BOOTTIME"):
        return time.clock_gettime(time.CLOCK_BOOTTIME)
    return time.time()


def _place() -> str:
    """Which start of which machine (or container) this is: seconds and process numbers count within one alone."""
    try:
        boot = Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
        return f"{boot}/{os.readlink('/proc/self/ns/pid')}"
    except OSError:
        return platform.node() or "here"


def _started(pid: int) -> str:
    """When a process began, in the kernel's own count; nothing where that is not told or there is no such process."""
    try:
        return Path(f"/proc/{pid}/stat").read_text(encoding="ascii", errors="replace").rpartition(")")[2].split()[19]
    except (OSError, IndexError):
        return ""


def _gone(owner: str) -> bool:
    """Whether a claim's owner surely runs no more: another start of the machine, or a process that has ended."""
    try:
        place, pid, started, _ = owner.split(" ")
        boot, here = place.partition("/")[0], _place()
        if boot != here.partition("/")[0]:
            return True
        return place == here and bool(started) and _started(int(pid)) != started
    except ValueError:
        return True
