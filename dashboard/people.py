"""Adds a person who may sign in.

Flow: `wellhand serve --add-user` -> HERE -> store.
Never: takes a password from the command line, where other users of the machine could read it.
"""

import getpass
import re
from pathlib import Path

from analysis.store import Store
from dashboard.passwords import new_hash

ROLES = ("farmer", "service", "engineer", "installer", "admin")
NAME = re.compile(r"[^\s\x00-\x1f]([^\x00-\x1f]{0,62}[^\s\x00-\x1f])?")


class PersonError(Exception):
    """The person cannot be added as asked; the text says what is wrong and what mends it."""


def add_person(store: Store, name: str, role: str, sites: str | None, password_file: Path | None) -> str:
    """Adds or changes the person; a sentence that says what is so now. PersonError."""
    if not NAME.fullmatch(name):
        raise PersonError(f"{name!r} is no name\n    fix: 1 to 64 characters, no blank at either end")
    listed = _sites(store, role, sites)
    try:
        hashed = new_hash(_password(name, password_file))
    except ValueError as error:
        raise PersonError(str(error)) from error
    store.put_user(name, hashed, role, listed)
    return f"{name} may sign in as {role} and sees {'every site' if listed is None else ', '.join(listed)}."


def _sites(store: Store, role: str, sites: str | None) -> list[str] | None:
    if sites is None:
        if role == "farmer":
            raise PersonError(
                "a farmer needs to be told which sites are theirs\n    fix: --sites north-kraal,south-kraal"
            )
        return None
    listed = [site.strip() for site in sites.split(",") if site.strip()]
    unknown = sorted(set(listed) - {site.id for site in store.sites()})
    if unknown:
        raise PersonError(f"the store has no site {', '.join(unknown)}\n    fix: add the site first, or mend the name")
    return listed


def _password(name: str, file: Path | None) -> str:
    if file is not None:
        try:
            return file.read_text("utf-8").rstrip("\r\n")
        except (OSError, UnicodeDecodeError) as error:
            raise PersonError(
                f"{file}: cannot be read: {error}\n    fix: a text file whose only line is the password"
            ) from error
    try:
        password = getpass.getpass(f"Password for {name}: ")
        again = getpass.getpass("The same again: ")
    except EOFError as error:
        raise PersonError("no password was given\n    fix: type it when asked, or use --password-file") from error
    if password != again:
        raise PersonError("the two passwords differ\n    fix: try again")
    return password
