"""The command ``bandbench``: what the browser shows, and the building of it, without a browser."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from importlib import import_module

from sim.errors import BandbenchError

__all__ = ["main"]

# Each is a module of this package with `add_arguments(parser)` and `run(arguments)`, imported when asked for.
_SUBCOMMANDS = {
    "serve": "build the site if need be, serve it on this machine and open it",
    "build": "build the static site into dist/",
    "render": "write what the recorder plays as picture and arrays, without a browser",
    "lessons": "list and check the lessons",
    "package": "pack the site, or one lesson, for a school's learning system",
    "report": "score a class's attempts again and report who can do what",
    "link": "make or read a link that fixes lesson, variation and help",
    "paper": "write job sheets, alignment records, records of practice, handouts",
    "demonstrations": "list and check the prepared demonstrations",
    "words": "check the texts in other languages, and write what is to be translated",
}

EXIT_STATUS_OF_AN_ERROR = 2


def main(words: Sequence[str] | None = None) -> int:
    """Run one subcommand.

    Parameters
    ----------
    words : Sequence[str] | None
        The command line after the program's name; None takes this process's own.

    Returns
    -------
    int
        Exit status: 0, or 2 after an error, which is told on standard error in a few lines.
    """
    words = sys.argv[1:] if words is None else list(words)
    parser = argparse.ArgumentParser(prog="bandbench", description=__doc__)
    subparsers = parser.add_subparsers(dest="subcommand", required=True, metavar="SUBCOMMAND")
    asked_for = next((word for word in words if not word.startswith("-")), None)
    for name, purpose in _SUBCOMMANDS.items():
        subparser = subparsers.add_parser(name, help=purpose, description=purpose[0].upper() + purpose[1:] + ".")
        if name == asked_for:
            module = import_module(f"bandbench.{name}")
            module.add_arguments(subparser)
            subparser.set_defaults(run=module.run)
    arguments = parser.parse_args(words)
    try:
        status = arguments.run(arguments)
    except BandbenchError as error:
        print(f"bandbench {arguments.subcommand}: {error}", file=sys.stderr)
        return EXIT_STATUS_OF_AN_ERROR
    except OSError as error:
        # What the system refuses of a name, such as its length, before anybody asks it for the file.
        if error.filename is None:
            raise
        print(f"bandbench {arguments.subcommand}: {error.filename}: {error.strerror}; check the name", file=sys.stderr)
        return EXIT_STATUS_OF_AN_ERROR
    except KeyboardInterrupt:
        return 130
    return int(status or 0)


if __name__ == "__main__":
    sys.exit(main())
