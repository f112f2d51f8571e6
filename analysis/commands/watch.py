"""`wellhand watch`: take readings from the broker, store and judge them."""

import argparse

HELP = "take readings from the broker, store and judge them"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""


def run(args: argparse.Namespace) -> int:
    """Not built yet: says so and fails."""
    raise NotImplementedError(HELP)
