"""Run the tests: makes the project's environment with what they need, then runs pytest.

    python3 scripts/test.py              the quick tests, on all cores
    python3 scripts/test.py --all        the slow ones too: whole trials and studies
    python3 scripts/test.py tests/test_x.py -k name    anything else goes to pytest as it is

Needs nothing but Python 3.11.
"""

import os
import sys

import interpreter

interpreter.ensure(__file__)

import environment  # noqa: E402  (an older Python could not read it)


def pytest_arguments(arguments):
    """Return what pytest is called with: all cores unless told otherwise, slow tests when asked for.

    Slow tests often wait, for a browser or a program they started: one process more than cores keeps those busy.
    """
    rest = [word for word in arguments if word != "--all"]
    every = "--all" in arguments
    chosen = any(word.startswith(("-n", "--numprocesses", "--pdb", "--trace", "-s")) for word in rest)
    return [
        *([] if chosen else ["-n", str((os.cpu_count() or 1) + 1) if every else "auto", "--dist", "worksteal"]),
        *(["-m", "slow or not slow"] if every else []),
        *rest,
    ]


def main() -> int:
    """Install what is missing and run pytest."""
    if set(sys.argv[1:]) & {"-h", "--help"}:
        print(__doc__)
        return 0
    python = environment.ensure(["test"])
    return environment.call([str(python), "-m", "pytest", *pytest_arguments(sys.argv[1:])], environment.ROOT)


if __name__ == "__main__":
    sys.exit(environment.guarded(main))
