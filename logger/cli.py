"""The one command `wellhand`: finds its subcommands through the entry-point group `wellhand.commands`.

Never: imports what only one subcommand needs.
"""

import argparse
import os
import sys
from importlib.metadata import EntryPoint, entry_points
from typing import Any

GROUP = "wellhand.commands"
EXTRA_OF = {"analysis": "server", "dashboard": "server", "samples": "demo"}
"""What a subcommand's package needs installed beyond the base."""


def main(argv: list[str] | None = None) -> int:
    """Run one subcommand; the exit code: 0 done, 1 it failed or found something, 2 it was asked wrongly."""
    parser = argparse.ArgumentParser(prog="wellhand", description="Watches over a solar pump in a borehole.")
    subparsers = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for entry in sorted(entry_points(group=GROUP), key=lambda entry: entry.name):
        module = entry.load()
        sub = subparsers.add_parser(entry.name, help=module.HELP, description=module.HELP)
        module.arguments(sub)
        sub.set_defaults(run=module.run, entry=entry)
    args = parser.parse_args(argv)
    try:
        code = args.run(args)
        sys.stdout.flush()
        return code
    except ModuleNotFoundError as error:
        return _explain_missing(args.entry, error)
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        # Whoever read us (`| head`) has gone; nothing more can be said, nor may the interpreter try to at its end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 141


def _explain_missing(entry: EntryPoint, error: ModuleNotFoundError) -> int:
    """Say which extra brings a third-party package that is not installed; our own missing module is a bug."""
    package = (error.name or "").partition(".")[0]
    ours: Any = {"logger", *EXTRA_OF}
    extra = EXTRA_OF.get(entry.module.partition(".")[0])
    if package in ours or extra is None:
        raise error
    print(
        f"wellhand {entry.name}: the package {package!r} is not installed here\n"
        f"    fix: pip install 'wellhand[{extra}]'",
        file=sys.stderr,
    )
    return 2


if __name__ == "__main__":
    sys.exit(main())
