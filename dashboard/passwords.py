"""Does this password open the door?

Flow: routes/sign_in.py -> HERE -> analysis.store.users (which makes and reads the hashes).
Never: keeps or prints a password.
"""

import hashlib

from analysis.store.users import User, hash_password, password_fits

LENGTH_MIN = 8
"""NIST SP 800-63B asks for eight or more (from memory)."""


def new_hash(password: str) -> str:
    """The hash to keep. ValueError: too short, worded for people."""
    if len(password) < LENGTH_MIN:
        raise ValueError(f"the password has {len(password)} characters\n    fix: choose one of {LENGTH_MIN} or more")
    return hash_password(password)


def opens(password: str, user: User | None) -> bool:
    """True if it is the user's. Where there is no such user it takes as long, and is never True."""
    fits = password_fits(password, user.password_hash if user else _NOBODY)
    return fits and user is not None


def fingerprint(hashed: str) -> str:
    """Names a hash without giving it away: a session made under another password no longer fits."""
    return hashlib.sha256(b"wellhand session " + hashed.encode()).hexdigest()[:16]


_NOBODY = hash_password("nobody has this password")
