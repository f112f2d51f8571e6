"""`wellhand log`: read a pump's controller and sensors and publish what they say."""

import argparse

HELP = "read a pump's controller and sensors and publish what they say"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""


def run(args: argparse.Namespace) -> int:
    """Not built yet: says so and fails."""
    raise NotImplementedError(HELP)
