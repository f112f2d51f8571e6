"""The secret that signs sessions, in a file that only its owner reads.

Flow: commands/serve.py -> HERE -> settings.py.
"""

import os
import secrets
import stat
from pathlib import Path


class SecretError(Exception):
    """The file is no safe home for a secret; the text says what to do."""


def read_or_make(path: Path) -> str:
    """The secret in `path`; makes the file with mode 0600 where there is none.

    SecretError: readable by others, empty, or not to be opened.
    """
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return _read(path)
    except OSError as error:
        raise SecretError(
            f"{path}: cannot be made: {error.strerror}\n    fix: name a file in a folder you own"
        ) from error
    with os.fdopen(handle, "w", encoding="ascii") as file:
        secret = secrets.token_urlsafe(48)
        file.write(secret + "\n")
        file.flush()
        os.fsync(file.fileno())
    return secret


def _read(path: Path) -> str:
    try:
        mode = stat.S_IMODE(path.stat().st_mode)
        if mode & 0o077:
            raise SecretError(f"{path}: others may read it (mode {mode:04o})\n    fix: chmod 600 {path}")
        secret = path.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise SecretError(f"{path}: cannot be read: {error}\n    fix: name another file, or remove this one") from error
    if len(secret) < 32:
        raise SecretError(
            f"{path}: shorter than 32 characters\n    fix: remove the file, the next start makes a new one"
        )
    return secret
