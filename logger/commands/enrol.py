"""`wellhand enrol`: make a site's broker credentials, topic list and board file.

Works on files alone; the broker takes them when it is told to read them again.
"""

import argparse
import os
import re
import secrets
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from logger.record.site_facts import SiteFacts

HELP = "make a site's broker credentials, topic list and board file"
SITE = re.compile(r"[a-z0-9-]{1,48}")
HOST = re.compile(r"[A-Za-z0-9.:-]{1,253}")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("site_id", metavar="SITE_ID", nargs="?", help="as in the site file; left out with --server")
    parser.add_argument(
        "--site", type=Path, metavar="SITE.toml", help="the site file: its id, and what the board judges by itself"
    )
    parser.add_argument("--server", action="store_true", help="make the server's own credentials instead of a board's")
    parser.add_argument(
        "--broker-dir",
        required=True,
        type=Path,
        metavar="FOLDER",
        help="holds the broker's files `passwords` and `topics`",
    )
    parser.add_argument(
        "--host", default="localhost", help="the broker, as the board reaches it (its certificate's name)"
    )
    parser.add_argument("--port", type=int, default=8883)
    parser.add_argument("--ca-file", type=Path, help="the authority that signed the broker's certificate")
    parser.add_argument(
        "--link",
        choices=("metered", "free"),
        default="metered",
        help="metered (default): readings once an hour, at most 1.5 MB a month, what is urgent at once; free: every minute, 32 MB",
    )
    parser.add_argument("--out", type=Path, default=Path("."), help="where the board's folder is made (default: here)")
    parser.add_argument("--renew", action="store_true", help="give a new password to a site that has one")


def run(args: argparse.Namespace) -> int:
    """0 made, 1 the files could not be written, 2 asked wrongly."""
    from logger.enrolment import SERVER  # noqa: PLC0415 - other commands need not load it
    from logger.record.site_file import SiteFileError, load_site  # noqa: PLC0415

    try:
        facts = load_site(args.site) if args.site else None
    except SiteFileError as error:
        print(error, file=sys.stderr)
        return 2
    user = SERVER if args.server else args.site_id or (facts.site.id if facts else None)
    wrong = _wrong(args, user, facts.site.id if facts else None)
    if wrong:
        print(wrong, file=sys.stderr)
        return 2
    try:
        return _enrol(args, str(user), facts)
    except OSError as error:
        print(f"{error.filename}: {error.strerror}\n    fix: check the folder and its permissions", file=sys.stderr)
        return 1


def _wrong(args: argparse.Namespace, user: str | None, of_file: str | None) -> str | None:
    if args.server == bool(args.site_id or args.site):
        return "enrol: give either a SITE_ID or --server\n    fix: wellhand enrol north-kraal --broker-dir FOLDER"
    if of_file is not None and user != of_file:
        return f"enrol: {args.site} is of the site {of_file!r}, not {user!r}\n    fix: leave SITE_ID out, or give that file's"
    if not args.server and not SITE.fullmatch(str(user)):
        return f"enrol: {user!r} is no site id\n    fix: 1 to 48 of a-z, 0-9 and -, as in the site file"
    if not HOST.fullmatch(args.host):
        return f"enrol: {args.host!r} is no host name\n    fix: --host broker.example.org"
    if not 1 <= args.port <= 65535:
        return f"enrol: {args.port} is no port\n    fix: --port 8883"
    return None


def _enrol(args: argparse.Namespace, user: str, facts: "SiteFacts | None") -> int:
    from logger import enrolment as made  # noqa: PLC0415

    passwords, topics = args.broker_dir / "passwords", args.broker_dir / "topics"
    args.broker_dir.mkdir(parents=True, exist_ok=True)
    known = _text(passwords)
    if made.has_user(known, user) and not args.renew:
        print(f"enrol: {user} has a password already\n    fix: --renew gives it a new one", file=sys.stderr)
        return 2
    password = secrets.token_urlsafe(24)
    folder = args.out / user
    folder.mkdir(parents=True, exist_ok=True)
    _write(folder / "password", password + "\n", 0o600)
    if not args.server:
        if not (folder / "board.toml").exists():
            ca_name = "ca.pem" if args.ca_file else None
            _write(folder / "board.toml", made.board_file(user, args.host, args.port, ca_name, args.link, facts), 0o640)
        if args.ca_file:
            shutil.copyfile(args.ca_file, folder / "ca.pem")
    line = made.password_line(user, password, secrets.token_bytes(made.SALT_BYTES))
    block = made.server_topics() if args.server else made.board_topics(user)
    _write(passwords, made.with_user(known, line), _mode(passwords, 0o640))
    _write(topics, made.with_topics(_text(topics), block), _mode(topics, 0o640))
    _tell(args, folder)
    return 0


def _tell(args: argparse.Namespace, folder: Path) -> None:
    from logger.enrolment import CAUTIONS  # noqa: PLC0415

    print(f"Made {folder}/ with the password (not shown) and, in {args.broker_dir}/, its password line and topics.")
    print(f"The broker's settings need: password_file {args.broker_dir.resolve()}/passwords")
    print(f"                            acl_file {args.broker_dir.resolve()}/topics")
    print("Then let it read them again: systemctl reload mosquitto (or kill -HUP its process).")
    if not args.server:
        print(f"Copy {folder}/ to the board, name its sources in board.toml, then: wellhand log board.toml --dry-run")
        print()
        print(CAUTIONS)


def _text(path: Path) -> str:
    return path.read_text() if path.exists() else ""


def _mode(path: Path, otherwise: int) -> int:
    return path.stat().st_mode & 0o777 if path.exists() else otherwise


def _write(path: Path, text: str, mode: int) -> None:
    """As a whole, never readable by more people than `mode` says; owner and group of an older file stay."""
    fresh = path.with_name(path.name + ".new")
    fresh.unlink(missing_ok=True)
    handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    with open(handle, "w") as opened:
        opened.write(text)
        os.fchmod(handle, mode)
        if path.exists() and os.geteuid() == 0:
            os.fchown(handle, path.stat().st_uid, path.stat().st_gid)
    fresh.replace(path)
