"""`wellhand serve`: serve the pages and the API."""

import argparse

HELP = "serve the pages and the API"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""


def run(args: argparse.Namespace) -> int:
    """Not built yet: says so and fails."""
    raise NotImplementedError(HELP)
