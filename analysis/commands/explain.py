"""`wellhand explain`: show the figures and the pictures behind a finding.

Flow: a review's folder and its files, or a store -> explain_sources.py -> HERE -> FOLDER, and words on the terminal.
"""

import argparse
import sys
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from analysis.explanation import Explanation

HELP = "show the figures and the pictures behind a finding"
FORMATS = ("svg", "png")
LEFT = 2.0  # healthy standard deviations: nearer, a channel has not left the others (common practice, no source)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("--site", required=True, metavar="SITE", help="the site's file; with --store its id")
    parser.add_argument(
        "--readings", action="append", default=[], metavar="FILE", help="CSV or Parquet; may be repeated"
    )
    parser.add_argument(
        "--review", metavar="FOLDER", help="what `wellhand review` wrote; without it, the readings are judged anew"
    )
    parser.add_argument(
        "--store", metavar="URL", help="take site, readings and findings from here instead of from files"
    )
    parser.add_argument("--finding", default="all", metavar="ID", help="which one; all of them if not given")
    parser.add_argument(
        "--out", default="explained", metavar="FOLDER", help="gets one folder a finding (default: explained)"
    )
    parser.add_argument(
        "--format", action="append", choices=FORMATS, help="of the pictures; may be repeated (default: svg, and png with Matplotlib)"
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Explained: 0. 2: a file, the store or an argument is wrong, or what draws PNG is missing."""
    from analysis.explain_files import NoPng, can_png
    from analysis.store import StoreError
    from logger.record.problems import FileError

    formats = tuple(args.format or (FORMATS if can_png() else FORMATS[:1]))
    try:
        return _explain(args, formats)
    except (FileError, StoreError, NoPng, ValueError) as error:
        print(error, file=sys.stderr)
    except OSError as error:
        print(
            f"{error.filename or args.out}: {error.strerror or error}\n    fix: name an --out that we may write",
            file=sys.stderr,
        )
    return 2


def _explain(args: argparse.Namespace, formats: tuple[str, ...]) -> int:
    from rich.console import Console

    from analysis.advice_words import advice_text
    from analysis.explain_files import write_explanation
    from analysis.review_words import finding_words

    words, count = Console(highlight=False, soft_wrap=False), 0
    for explanation in _sources(args):
        made = write_explanation(Path(args.out), explanation, formats)
        words.print(finding_words(explanation.finding, explanation.facts.site.timezone))
        if explanation.departed:
            words.print(_departed(explanation.departed), markup=False)
        page = advice_text(explanation.advice, max(words.width - 2, 40))
        words.print(textwrap.indent(page, "  "), markup=False)
        words.print("  " + "\n  ".join(str(path) for path in made), markup=False, soft_wrap=True)
        count += 1
    plural = "finding" if count == 1 else "findings"
    words.print(
        f"{count} {plural} explained in {args.out}" if count else "Nothing wrong was found: nothing to explain.",
        markup=False,
    )
    return 0


def _departed(departed: dict[str, float]) -> str:
    """Which channels left what the others say of them; what stayed within their healthy scatter is not said to have left."""
    away = [f"{name} {far:+.1f}" for name, far in departed.items() if abs(far) > LEFT]
    if not away:
        return f"  No channel left what the others say of it by more than {LEFT:g} healthy standard deviations."
    return f"  Left what the other channels say of them, in healthy standard deviations: {', '.join(away)}"


def _sources(args: argparse.Namespace) -> "Iterator[Explanation]":
    from analysis.explain_sources import from_files, from_store
    from analysis.store import open_store

    if args.store:
        if args.readings or args.review:
            raise ValueError("--store brings its own readings\n    fix: leave --readings and --review out")
        store = open_store(args.store)
        try:
            yield from from_store(store, args.site, args.finding)
        finally:
            store.close()
    elif args.readings:
        folder = Path(args.review) if args.review else None
        yield from from_files(Path(args.site), [Path(name) for name in args.readings], args.finding, folder)
    else:
        raise ValueError("no readings\n    fix: --readings FILE beside --site SITE.toml, or --store URL")
