"""`wellhand watch`: take readings from the broker, store and judge them.

Flow: arguments -> HERE -> ingest/subscriber.py in this thread, rounds.py in another, until SIGTERM or Ctrl-C.
"""

import argparse
import sys

HELP = "take readings from the broker, store and judge them"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("--store", required=True, metavar="URL", help="sqlite:///wellhand.db, or postgresql://...")
    parser.add_argument("--broker", default="localhost:1883", metavar="HOST:PORT", help="where the MQTT broker is")
    parser.add_argument("--site", action="append", default=[], metavar="SITE.toml", help="add or renew a site first")
    parser.add_argument("--username", help="our name at the broker")
    parser.add_argument("--password-file", metavar="FILE", help="its first line is the password")
    parser.add_argument("--tls", action="store_true", help="encrypt, and check the broker's certificate")
    parser.add_argument("--ca", metavar="FILE", help="whom to trust, if not the system's list; implies --tls")
    parser.add_argument("--cert", metavar="FILE", help="our own certificate; implies --tls")
    parser.add_argument("--key", metavar="FILE", help="its key, where it is not in the same file")
    parser.add_argument("--client-id", default="wellhand-watch", help="our name for the session that the broker keeps")
    parser.add_argument("--share", metavar="GROUP", help="divide the work with other workers (PostgreSQL and MQTT 5)")
    parser.add_argument("--clock-epoch", metavar="TIME", help="for simulated plants: the time at --clock-from")
    parser.add_argument("--clock-from", metavar="TIME", help="this machine's time when --clock-epoch was; default: now")
    parser.add_argument("--clock-rate", type=float, default=1.0, metavar="N", help="how much faster it runs")


def run(args: argparse.Namespace) -> int:
    """Watch until told to stop: 0. 1: the store or another worker is in the way. 2: asked wrongly."""
    from analysis.ingest.service import WatchError, serve

    try:
        return serve(args)
    except WatchError as error:
        print(f"wellhand watch: {error}", file=sys.stderr)
        return error.code
