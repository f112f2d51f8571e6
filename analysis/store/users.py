"""People who may sign in: name, salted scrypt hash, role, and the sites they may see.

Never: a password kept or logged; sessions (dashboard).
"""

import hashlib
import hmac
import json
import secrets
from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import Connection, delete, select

from analysis.store.schema import person
from analysis.store.tables import now_ms, to_json, upsert

ROLES = ("farmer", "service", "engineer", "installer", "admin")
SCRYPT = {"n": 2**14, "r": 8, "p": 5}
"""OWASP Password Storage Cheat Sheet, scrypt: one of its equal choices, 16 MiB of memory a try (from memory)."""
SCRYPT_MEMORY = 64 * 1024 * 1024


@dataclass(frozen=True)
class User:
    """`sites` None = every site."""

    name: str
    password_hash: str
    role: str
    sites: tuple[str, ...] | None


def hash_password(password: str) -> str:
    """`scrypt$n$r$p$salt$hash`, with a salt of its own."""
    salt = secrets.token_bytes(16)
    return "$".join(["scrypt", *map(str, SCRYPT.values()), salt.hex(), _scrypt(password, salt, **SCRYPT).hex()])


def password_fits(password: str, kept: str) -> bool:
    """Whether `password` made the hash that was kept. ValueError: what was kept is no hash of ours."""
    kind, n, r, p, salt, digest = kept.split("$")
    if kind != "scrypt":
        raise ValueError(f"unknown kind of password hash: {kind!r}")
    made = _scrypt(password, bytes.fromhex(salt), int(n), int(r), int(p))
    return hmac.compare_digest(made, bytes.fromhex(digest))


def _scrypt(password: str, salt: bytes, n: int, r: int, p: int) -> bytes:
    return hashlib.scrypt(password.encode(), salt=salt, n=n, r=r, p=p, maxmem=SCRYPT_MEMORY)


def put_user(
    connection: Connection, name: str, password_hash: str, role: str, sites: Iterable[str] | None = None
) -> None:
    """Add a person or change one. ValueError: no such role."""
    if role not in ROLES:
        raise ValueError(f"no such role: {role!r}; one of {', '.join(ROLES)}")
    listed = None if sites is None else to_json(sorted(sites))
    row = {"name": name, "password_hash": password_hash, "role": role, "sites": listed, "added_ms": now_ms()}
    upsert(connection, person, [row])


def users(connection: Connection, name: str | None = None) -> list[User]:
    """Everybody, or the one of this name, by name."""
    asked = select(person.c.name, person.c.password_hash, person.c.role, person.c.sites).order_by(person.c.name)
    if name is not None:
        asked = asked.where(person.c.name == name)
    return [
        User(row.name, row.password_hash, row.role, None if row.sites is None else tuple(json.loads(row.sites)))
        for row in connection.execute(asked)
    ]


def drop_user(connection: Connection, name: str) -> None:
    """Take a person's right to sign in away."""
    connection.execute(delete(person).where(person.c.name == name))
