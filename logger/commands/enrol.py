"""`wellhand enrol`: make a site's broker credentials, topic list and board file."""

import argparse

HELP = "make a site's broker credentials, topic list and board file"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""


def run(args: argparse.Namespace) -> int:
    """Not built yet: says so and fails."""
    raise NotImplementedError(HELP)
