"""`wellhand review`: judge a season of readings from files.

Flow: site files, CSV and Parquet -> review_files.py -> HERE -> FOLDER, a summary on the terminal, and the store if asked.
"""

import argparse
import sys
from datetime import datetime
from pathlib import Path

HELP = "judge a season of readings from files"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument(
        "--site", action="append", required=True, metavar="SITE.toml", help="what is installed; may be repeated"
    )
    parser.add_argument(
        "--readings", action="append", required=True, metavar="FILE", help="CSV or Parquet; may be repeated"
    )
    parser.add_argument("--out", required=True, metavar="FOLDER", help="where findings.json and tables go")
    parser.add_argument(
        "--from", dest="from_time", metavar="TIME", help="leave out what came before, 2026-01-31T00:00:00Z"
    )
    parser.add_argument("--to", dest="to_time", metavar="TIME", help="judge up to here, not up to the last reading")
    parser.add_argument("--ignore-unknown", action="store_true", help="leave out columns that are no channels")
    parser.add_argument("--store", metavar="URL", help="keep sites, readings and findings there too, for the dashboard")
    parser.add_argument("--no-pictures", action="store_true", help="leave out the pictures and tables of each finding")


def run(args: argparse.Namespace) -> int:
    """Review: 0. 2: files or arguments are wrong; then nothing was written."""
    from analysis.review_run import review
    from analysis.store import StoreError
    from logger.record.problems import FileError

    try:
        span = [_ms_of(name, text) for name, text in (("--from", args.from_time), ("--to", args.to_time))]
        return review(
            [Path(name) for name in args.site], [Path(name) for name in args.readings], Path(args.out),
            span[0], span[1], args.ignore_unknown, args.store, not args.no_pictures,
        )  # fmt: skip
    except (FileError, StoreError, ArgumentWrong) as error:
        print(error, file=sys.stderr)
        return 2


class ArgumentWrong(ValueError):
    """An argument that cannot be used; the text says which, and what mends it."""


def _ms_of(name: str, text: str | None) -> int | None:
    if text is None:
        return None
    try:
        instant = datetime.fromisoformat(text)
    except ValueError:
        instant = None
    if instant is None or instant.tzinfo is None:
        raise ArgumentWrong(f"{name} {text}: not a time with an offset\n    fix: {name} 2026-01-31T00:00:00Z")
    return round(instant.timestamp() * 1000)
