"""`wellhand serve`: serve the pages and the API."""

import argparse
import ipaddress
import shlex
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.store import Store
    from dashboard.supervise import Supervised

HELP = "serve the pages and the API"
STORE_DEFAULT = "sqlite:///wellhand.db"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("--store", metavar="URL", default=STORE_DEFAULT, help="the store (default: %(default)s)")
    parser.add_argument("--host", default="127.0.0.1", help="address to listen on (default: this machine only)")
    parser.add_argument("--port", type=int, default=8780, help="port; 0 = any free one (default: %(default)s)")
    parser.add_argument("--secret-file", type=Path, default=Path("wellhand.secret"), metavar="FILE",
                        help="signs the sessions; made with mode 0600 where there is none (default: %(default)s)")  # fmt: skip
    parser.add_argument("--https", action="store_true", help="people come by https, through a proxy before this server")
    parser.add_argument("--service-name", metavar="NAME", help="whom a farmer calls")
    parser.add_argument("--service-phone", metavar="NUMBER", help="and the number")
    watch = parser.add_argument_group("the watcher beside the pages")
    watch.add_argument("--broker", metavar="ADDRESS", help="also run `wellhand watch` on this broker")
    watch.add_argument("--watch-options", metavar="TEXT", default="", help="further options for that `wellhand watch`")
    watch.add_argument("--no-watch", action="store_true", help="pages only, though a broker is given")
    clock = parser.add_argument_group("an invented clock, for simulated plants (as for `wellhand watch`)")
    clock.add_argument("--clock-epoch", metavar="TIME", help="the time at --clock-from")
    clock.add_argument("--clock-from", metavar="TIME", help="this machine's time when --clock-epoch was; default: now")
    clock.add_argument("--clock-rate", type=float, default=1.0, metavar="N", help="how much faster it runs")
    people = parser.add_argument_group("people (adds one and ends)")
    people.add_argument("--add-user", metavar="NAME", help="add or change a person who may sign in")
    people.add_argument("--role", default="farmer", help="farmer, service, engineer, installer or admin")
    people.add_argument("--sites", metavar="A,B", help="ids of the sites that the person may see; all where left out")
    people.add_argument(
        "--password-file", type=Path, metavar="FILE", help="where its password stands; else it is asked for"
    )


def run(args: argparse.Namespace) -> int:
    """Until told to stop. 0: ended as told, or the person was added; 2: asked wrongly."""
    from analysis.ingest.service import WatchError
    from analysis.store import StoreError, open_store
    from dashboard.people import PersonError
    from dashboard.secret import SecretError

    try:
        store = open_store(args.store)
    except StoreError as error:
        return _refuse(error)
    try:
        return _add(store, args) if args.add_user else _serve(store, args)
    except (PersonError, SecretError, WatchError, OSError) as error:
        return _refuse(error)
    finally:
        store.close()


def _refuse(error: Exception) -> int:
    print(f"wellhand serve: {error}", file=sys.stderr)
    return 2


def _add(store: "Store", args: argparse.Namespace) -> int:
    from dashboard.people import ROLES, PersonError, add_person

    if args.role not in ROLES:
        raise PersonError(f"no such role: {args.role!r}\n    fix: one of {', '.join(ROLES)}")
    print(add_person(store, args.add_user, args.role, args.sites, args.password_file))
    return 0


def _serve(store: "Store", args: argparse.Namespace) -> int:
    from analysis.ingest.service import clock_of
    from dashboard.app import create_app
    from dashboard.secret import read_or_make
    from dashboard.server import listening_socket, serve
    from dashboard.settings import Settings

    settings = Settings(
        secret=read_or_make(args.secret_file),
        https=args.https,
        service_name=args.service_name,
        service_phone=args.service_phone,
        now_ms=clock_of(args).now_ms,
    )
    _warn(store, args)
    try:
        bound = listening_socket(args.host, args.port)
    except OSError as error:
        print(f"wellhand serve: cannot listen on {args.host} port {args.port}: {error.strerror}\n"
              "    fix: another --port (0 = any free one), or an address of this machine", file=sys.stderr)  # fmt: skip
        return 2
    watcher = _watcher(args)
    try:
        serve(create_app(store, settings), bound)
    finally:
        if watcher is not None:
            watcher.stop()
    return 0


def _watcher(args: argparse.Namespace) -> "Supervised | None":
    from dashboard.supervise import Supervised

    if args.no_watch or not args.broker:
        return None
    options = shlex.split(args.watch_options)
    if args.clock_epoch:
        options += ["--clock-epoch", args.clock_epoch, "--clock-rate", str(args.clock_rate)]
        options += ["--clock-from", args.clock_from] if args.clock_from else []
    watcher = Supervised(["watch", "--store", args.store, "--broker", args.broker, *options])
    watcher.start()
    return watcher


def _warn(store: "Store", args: argparse.Namespace) -> None:
    if not store.users():
        print("wellhand serve: nobody may sign in yet\n"
              "    fix: wellhand serve --add-user NAME --role admin", file=sys.stderr)  # fmt: skip
    if not _only_here(args.host) and not args.https:
        print(f"wellhand serve: {args.host} can be reached by other machines, and passwords would cross the network unhidden\n"
              "    fix: listen on 127.0.0.1, put a proxy with TLS before it, and say --https", file=sys.stderr)  # fmt: skip


def _only_here(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
