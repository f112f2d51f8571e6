"""`wellhand explain`: show the figures and the picture behind a finding."""

import argparse

HELP = "show the figures and the picture behind a finding"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""


def run(args: argparse.Namespace) -> int:
    """Not built yet: says so and fails."""
    raise NotImplementedError(HELP)
