"""`wellhand check`: judge a site file and print the day to expect."""

import argparse

HELP = "judge a site file and print the day to expect"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""


def run(args: argparse.Namespace) -> int:
    """Not built yet: says so and fails."""
    raise NotImplementedError(HELP)
