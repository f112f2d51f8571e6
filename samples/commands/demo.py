"""`wellhand demo`: run everything on this machine with invented pumps."""

import argparse
import sys
from pathlib import Path

HELP = "run everything on this machine with invented pumps"
HISTORY_DAYS = 150
DAYS_MIN = 140
CHECK_SPEED = 60.0


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("--speed", type=float, metavar="N", help="how many times faster than the clock (default: 1)")
    parser.add_argument("--broker", choices=("auto", "mosquitto", "embedded"), default="auto", help="which MQTT broker")
    parser.add_argument("--days", type=int, default=HISTORY_DAYS, help="days of history (default: %(default)s)")
    parser.add_argument(
        "--folder", type=Path, help="keep everything here; else in a temporary folder that goes at the end"
    )
    parser.add_argument("--check", action="store_true", help="without a person: check what must be so, exit 0 or 1")


def run(args: argparse.Namespace) -> int:
    """Until Ctrl-C, or until checked. 0: well; 1: it did not come up, broke, or a check failed; 2: asked wrongly."""
    from samples.demo.play import play

    if args.speed is not None and not 0.1 <= args.speed <= 600:
        print("wellhand demo: --speed must be 0.1 to 600\n    fix: --speed 60", file=sys.stderr)
        return 2
    if args.days < DAYS_MIN:
        print(
            f"wellhand demo: --days must be {DAYS_MIN} or more, for its faults need time to grow\n    fix: --days {HISTORY_DAYS}",
            file=sys.stderr,
        )
        return 2
    speed = args.speed or (CHECK_SPEED if args.check else 1.0)
    return play(args.folder, args.broker, speed, args.days, args.check)
