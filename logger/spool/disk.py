"""The few operations on files that the spool needs, each one call, so that tests can break every one in turn.

Flow: spool -> HERE -> the operating system.
Never: a decision, a retry, a format.
"""

import errno
import os
import shutil
from contextlib import suppress
from pathlib import Path
from typing import Any

READ_TRIES = 3
BLOCK_BYTES = 4096


class Disk:
    """The real one. Every method may raise OSError."""

    def make_folder(self, path: Path) -> None:
        """The folder and those above it; no error where it exists."""
        os.makedirs(path, exist_ok=True)

    def names(self, path: Path) -> list[str]:
        """Names in a folder, sorted."""
        return sorted(os.listdir(path))

    def create(self, path: Path) -> Any:
        """A new file opened for appending; FileExistsError where the name is taken."""
        return os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_EXCL, 0o640)

    def write(self, handle: Any, content: bytes) -> int:
        """Append; how many bytes were taken, which may be fewer than given."""
        return os.write(handle, content)

    def sync(self, handle: Any) -> None:
        """Until this returns, a power cut may forget what was written."""
        os.fsync(handle)

    def close(self, handle: Any) -> None:
        """Let go of a handle."""
        os.close(handle)

    def sync_folder(self, path: Path) -> None:
        """Until this returns, a power cut may forget that files were made, renamed or removed."""
        handle = os.open(path, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)

    def size(self, path: Path) -> int:
        """Bytes in a file."""
        return os.stat(path).st_size

    def read(self, path: Path, offset: int, length: int) -> bytes:
        """Up to `length` bytes from `offset`; fewer only at the end of the file."""
        with open(path, "rb", buffering=0) as opened:
            opened.seek(offset)
            pieces = []
            while length > 0 and (piece := opened.read(length)):
                pieces.append(piece)
                length -= len(piece)
        return b"".join(pieces)

    def replace(self, source: Path, target: Path) -> None:
        """Rename over what stands there, at once."""
        os.replace(source, target)

    def remove(self, path: Path) -> None:
        """Remove a file; FileNotFoundError where there is none."""
        os.unlink(path)

    def free_bytes(self, path: Path) -> int:
        """Left on the disk that holds `path`."""
        return shutil.disk_usage(path).free


def write_all(disk: Disk, handle: Any, content: bytes) -> None:
    """Append all of it, however many calls it takes. OSError as the disk's, or where it takes nothing at all."""
    left = memoryview(content)
    while left:
        taken = disk.write(handle, bytes(left))
        if taken <= 0:
            raise OSError(errno.EIO, "the disk took no bytes")
        left = left[taken:]


def write_whole(disk: Disk, path: Path, content: bytes) -> None:
    """Put a file in place as a whole: after a power cut the old one or the new one stands, nothing between."""
    fresh = path.with_name(path.name + ".new")
    with suppress(FileNotFoundError):  # unless an earlier cut left one
        disk.remove(fresh)
    handle = disk.create(fresh)
    try:
        write_all(disk, handle, content)
        disk.sync(handle)
    finally:
        disk.close(handle)
    disk.replace(fresh, path)
    disk.sync_folder(path.parent)


def read_whole(disk: Disk, path: Path) -> tuple[bytes, int]:
    """A file's bytes and how many of its blocks the disk would not give even when asked again (zeros stand there).

    OSError: anything but a block that cannot be read.
    """
    size = disk.size(path)
    try:
        return disk.read(path, 0, size), 0
    except OSError as error:
        if error.errno != errno.EIO:
            raise
    pieces, lost = [], 0
    for offset in range(0, size, BLOCK_BYTES):
        length = min(BLOCK_BYTES, size - offset)
        piece = _read_block(disk, path, offset, length)
        lost += piece is None
        pieces.append(bytes(length) if piece is None else piece)
    return b"".join(pieces), lost


def _read_block(disk: Disk, path: Path, offset: int, length: int) -> bytes | None:
    for _ in range(READ_TRIES):
        try:
            return disk.read(path, offset, length)
        except OSError as error:
            if error.errno != errno.EIO:
                raise
    return None
