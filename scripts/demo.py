"""See what one change does to a truck: makes the project's environment, then runs ``cragbench demo``.

Needs nothing but Python 3.11. Arguments are passed on to ``cragbench demo``.
"""

import sys

import interpreter

interpreter.ensure(__file__)

import environment  # noqa: E402  (an older Python could not read it)


def main() -> int:
    """Install what is missing and run the demo."""
    environment.ensure()
    code = environment.call([str(environment.tool("cragbench")), "demo", *sys.argv[1:]])
    if code == 0:
        print(f"\nThe cragbench command is {environment.tool('cragbench')}")
    return code


if __name__ == "__main__":
    sys.exit(environment.guarded(main))
