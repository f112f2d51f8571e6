"""`wellhand registers`: find an unknown controller's registers, by reading only.

Flow: a technician at the pump -> HERE -> modbus/survey.py, modbus/resemblance.py -> a register map to finish by hand.
Never: a write; an answer taken for sure.
"""

import argparse
import sys
from pathlib import Path

HELP = "find an unknown controller's registers, by reading only"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    line = parser.add_mutually_exclusive_group(required=True)
    line.add_argument("--device", help="serial device, such as /dev/ttyUSB0 (isolated RS-485 adapter)")
    line.add_argument("--host", help="address of a Modbus TCP device or gateway")
    parser.add_argument("--port", type=int, default=502, help="TCP port (default 502)")
    parser.add_argument("--baud", default="9600,19200,38400,115200", help="baud rates to try (default %(default)s)")
    parser.add_argument("--parity", default="none,even,odd", help="parities to try (default %(default)s)")
    parser.add_argument(
        "--units", default="1-16", help="device addresses to try, such as 1-16 or 1,7,247 (default %(default)s)"
    )
    parser.add_argument(
        "--tables", default="input,holding", help="of coil, discrete, input, holding (default %(default)s)"
    )
    parser.add_argument("--registers", default="0-511", help="register addresses to scan (default %(default)s)")
    parser.add_argument("--timeout", type=float, default=0.6, help="s to wait for an answer (default %(default)s)")
    parser.add_argument("--pause", type=float, default=0.02, help="s to leave the device alone between questions")
    parser.add_argument("--out", default="controller.toml", help="register map to write (default %(default)s)")
    parser.add_argument("--list-only", action="store_true", help="list what answers, watch nothing")
    parser.add_argument("--yes", action="store_true", help="the cautions have been read")


def run(args: argparse.Namespace) -> int:
    """Ask what to try, look, and write the map. 0 written or listed, 1 nothing found, 2 asked wrongly."""
    from logger.modbus.finder import Finder, Wrong, wanted  # noqa: PLC0415 - the command line loads quickly

    try:
        plan = wanted(args)
    except Wrong as error:
        print(f"wellhand registers: {error}", file=sys.stderr)
        return 2
    finder = Finder(plan, ask=input, say=lambda text: print(text, flush=True))
    try:
        return finder.run(Path(args.out), args.yes, args.list_only)
    except EOFError:
        print("\nThe input ended; nothing was written.", file=sys.stderr)
        return 1
