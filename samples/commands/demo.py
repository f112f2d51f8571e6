"""`wellhand demo`: run everything on this machine with invented pumps."""

import argparse

HELP = "run everything on this machine with invented pumps"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""


def run(args: argparse.Namespace) -> int:
    """Not built yet: says so and fails."""
    raise NotImplementedError(HELP)
