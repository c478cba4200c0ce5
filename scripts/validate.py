"""Run every check and write docs/validation.md and its picture.

    python3 scripts/validate.py               all checks, in the project's environment with the other engines
    python3 scripts/validate.py --only tyre   anything else goes to ``cragbench validate`` as it is

Needs nothing but Python 3.11.
"""

import sys

import interpreter

interpreter.ensure(__file__)

import environment  # noqa: E402  (an older Python could not read it)


def validate_arguments(arguments, root):
    """Return the command's arguments: all checks write the page and its picture into docs."""
    if arguments:
        return list(arguments)
    docs = root / "docs"
    return ["--markdown", str(docs / "validation.md"), "--picture", str(docs / "validation.png")]


def main() -> int:
    """Install what is missing and run the checks."""
    environment.ensure(["test"])
    arguments = validate_arguments(sys.argv[1:], environment.ROOT)
    return environment.call([str(environment.tool("cragbench")), "validate", *arguments], environment.ROOT)


if __name__ == "__main__":
    sys.exit(environment.guarded(main))
