"""Faults for the board's tests, all from one seed: a disk that fails or loses its power, a port, a clock.

A failing test names its seed, kind and call; `FaultyDisk(seed, kind, fail_at)` brings the same fault again.
"""

import errno
import random
from dataclasses import dataclass, field
from pathlib import Path

KINDS = ("once", "for good", "power cut")


class PowerCut(Exception):
    """The supply went away. What was not synced may be gone, whole, in part or as garbage."""


@dataclass
class Inode:
    """A file's bytes: as they are, and as they surely are after a power cut.

    `poisoned`: a sync failed, so that a later one says nothing about what was written before (as Linux has it).
    """

    content: bytearray = field(default_factory=bytearray)
    durable: bytes = b""
    poisoned: bool = False


class FaultyDisk:
    """A disk in memory with the calls of `logger.spool.Disk`, whose call number `fail_at` goes wrong.

    kind
        `once`: OSError, then well again; `for good`: every call from then on; `power cut`: PowerCut, before, amid or after
        the call's effect; go on with `after_power_cut()`.
    """

    def __init__(self, seed: int = 0, kind: str = "once", fail_at: int = 0):
        self.random = random.Random(f"{seed} {kind} {fail_at}")
        self.kind, self.fail_at = kind, fail_at
        self.calls = 0
        self.fault_hit = False
        self.written_bytes = 0
        self._names: dict[str, Inode] = {}
        self._durable_names: dict[str, Inode] = {}
        self._folders: set[str] = set()
        self._handles: dict[int, Inode] = {}

    # ---- the calls of Disk

    def make_folder(self, path):
        self._fault()
        self._folders.add(str(path))

    def names(self, path):
        self._fault()
        return sorted(Path(name).name for name in self._names if Path(name).parent == Path(path))

    def create(self, path):
        self._fault()
        if str(path) in self._names:
            raise FileExistsError(errno.EEXIST, "File exists", str(path))
        return self._handle(self._names.setdefault(str(path), Inode()))

    def write(self, handle, content):
        taken = self.random.randint(1, len(content))  # a short write now and then is no fault at all
        try:
            self._fault()
        except (OSError, PowerCut):
            self._handles[handle].content += content[: self.random.randint(0, len(content))]
            raise
        self._handles[handle].content += content[:taken]
        self.written_bytes += taken
        return taken

    def sync(self, handle):
        inode = self._handles[handle]
        try:
            self._fault()
        except OSError:
            inode.poisoned = True
            raise
        if not inode.poisoned:
            inode.durable = bytes(inode.content)

    def close(self, handle):
        self._fault()
        del self._handles[handle]

    def sync_folder(self, path):
        self._fault()
        inside = lambda names: {name: inode for name, inode in names.items() if Path(name).parent == Path(path)}  # noqa: E731
        for name in inside(self._durable_names):
            del self._durable_names[name]
        self._durable_names |= inside(self._names)

    def size(self, path):
        self._fault()
        return len(self._file(path).content)

    def read(self, path, offset, length):
        self._fault()
        return bytes(self._file(path).content[offset : offset + length])

    def replace(self, source, target):
        self._fault()
        self._names[str(target)] = self._file(source)
        del self._names[str(source)]

    def remove(self, path):
        self._fault()
        self._file(path)
        del self._names[str(path)]

    def free_bytes(self, _path):
        self._fault()
        return 1_000_000_000

    # ---- afterwards

    def healthy(self) -> "FaultyDisk":
        """The same files, as the next start of the program finds them after a crash: nothing is lost by that."""
        other = FaultyDisk(self.random.randrange(1 << 30))
        other._folders = set(self._folders)
        other._names, other._durable_names = dict(self._names), dict(self._durable_names)
        return other

    def after_power_cut(self) -> "FaultyDisk":
        """What the next start finds: synced bytes under synced names; of the rest, whatever chance left."""
        other = FaultyDisk(self.random.randrange(1 << 30))
        other._folders = set(self._folders)
        inodes = {id(inode): inode for names in (self._names, self._durable_names) for inode in names.values()}
        survived = {key: self._survived(inode) for key, inode in inodes.items()}
        for name in {*self._names, *self._durable_names}:
            choices = [names.get(name) for names in (self._names, self._durable_names)]
            inode = self.random.choice(choices)
            if inode is not None:
                other._names[name] = other._durable_names[name] = survived[id(inode)]
        return other

    def damage(self, path, at: int, length: int) -> None:
        """Overwrite some bytes, as a worn card does."""
        content = self._file(path).content
        for place in range(at, min(at + length, len(content))):
            content[place] ^= self.random.randint(1, 255)

    # ---- inside

    def _survived(self, inode: Inode) -> Inode:
        if not bytes(inode.content).startswith(inode.durable):
            raise AssertionError("only appending is modelled")
        rest = bytes(inode.content[len(inode.durable) :])
        kept = rest[: self.random.randint(0, len(rest))]
        shape = self.random.choice(("cut", "zeros", "garbage", "whole"))
        if shape == "zeros":
            kept += bytes(len(rest) - len(kept))
        elif shape == "garbage":
            kept += self.random.randbytes(len(rest) - len(kept))
        elif shape == "whole":
            kept = rest
        content = inode.durable + kept
        return Inode(bytearray(content), content)

    def _handle(self, inode: Inode) -> int:
        handle = max(self._handles, default=0) + 1
        self._handles[handle] = inode
        return handle

    def _file(self, path) -> Inode:
        if str(path) not in self._names:
            raise FileNotFoundError(errno.ENOENT, "No such file or directory", str(path))
        return self._names[str(path)]

    def _fault(self) -> None:
        self.calls += 1
        if not self.fail_at or self.calls < self.fail_at or (self.calls > self.fail_at and self.kind == "once"):
            return
        self.fault_hit = True
        if self.kind == "power cut":
            raise PowerCut(f"at disk call {self.calls}")
        code = self.random.choice((errno.EIO, errno.ENOSPC, errno.EROFS))
        raise OSError(code, "made to fail", f"call {self.calls}")


class FakeTime:
    """A machine's clocks that the test moves; `disciplined` as the test says."""

    def __init__(self, wall_ms: int = 0, mono_ms: int = 0, disciplined: bool = False):
        self.now_wall_ms, self.now_mono_ms, self.is_disciplined = wall_ms, mono_ms, disciplined

    def wall_ms(self) -> int:
        return self.now_wall_ms

    def mono_ms(self) -> int:
        return self.now_mono_ms

    def disciplined(self) -> bool:
        return self.is_disciplined

    def now_s(self) -> float:
        """For what takes seconds on the monotonic clock."""
        return self.now_mono_ms / 1000

    def pass_s(self, seconds: float) -> None:
        """Both clocks go on."""
        self.now_wall_ms += round(seconds * 1000)
        self.now_mono_ms += round(seconds * 1000)

    def step_s(self, seconds: float) -> None:
        """The wall clock alone is set."""
        self.now_wall_ms += round(seconds * 1000)


class FaultyPort:
    """A port in front of another one that drops, garbles, halves, doubles or fails, by chance from one seed.

    `share`: of the reads that go wrong.
    """

    TRICKS = ("drop", "garble", "halve", "double", "fail")

    def __init__(self, port, seed: int, share: float = 0.3):
        self._port, self._random, self._share = port, random.Random(seed), share
        self.tricks = dict.fromkeys(self.TRICKS, 0)

    def write(self, data: bytes) -> None:
        self._port.write(data)

    def read(self, timeout_s: float) -> bytes:
        data = self._port.read(timeout_s)
        if not data or self._random.random() >= self._share:
            return data
        trick = self._random.choice(self.TRICKS)
        self.tricks[trick] += 1
        if trick == "fail":
            raise OSError(errno.EIO, "the port is gone")
        if trick == "garble":
            place = self._random.randrange(len(data))
            return data[:place] + bytes([data[place] ^ self._random.randint(1, 255)]) + data[place + 1 :]
        return {"drop": b"", "halve": data[: len(data) // 2], "double": data * 2}[trick]

    def close(self) -> None:
        self._port.close()
