"""`wellhand registers`: find an unknown controller's registers, by reading only."""

import argparse

HELP = "find an unknown controller's registers, by reading only"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""


def run(args: argparse.Namespace) -> int:
    """Not built yet: says so and fails."""
    raise NotImplementedError(HELP)
