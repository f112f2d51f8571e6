"""`wellhand review`: judge a season of readings from files."""

import argparse

HELP = "judge a season of readings from files"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""


def run(args: argparse.Namespace) -> int:
    """Not built yet: says so and fails."""
    raise NotImplementedError(HELP)
