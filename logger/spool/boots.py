"""Which starts of the board the spool knows: their names, the kernel's start each ran under, and how far its clock was out.

A boot is one start of this program. Several boots may share one start of the kernel, and with it one monotonic clock;
so an offset learnt in one of them repairs the rows of all. Kept in `boots.json`, put in place as a whole.
Flow: spool.py, clock.py -> HERE -> disk.py. Never: rows.
"""

import json
import re
from dataclasses import asdict, dataclass
from pathlib import Path

from logger.spool.disk import Disk, read_whole, write_whole

NAME = re.compile(r"(\d{6})-[0-9a-f]{8}")
NUMBER_MAX = 999_999
FILE = "boots.json"


@dataclass
class Boot:
    """`offset_ms`: UTC = mono + offset, None = never learnt. Rows up to `unsure_upto` went out with their time unsure,
    and are to go out again when it is learnt; 0 = none (any more).
    """

    name: str
    kernel: str
    offset_ms: int | None = None
    unsure_upto: int = 0


class Boots:
    """All boots with rows left, the present one last. OSError as the disk's."""

    def __init__(self, disk: Disk, folder: Path):
        self._disk, self._path = disk, folder / FILE
        self.by_name: dict[str, Boot] = {}
        self.latest_ms = 0
        self.unreadable = False
        self._load()

    def begin(self, kernel: str, random_hex: str, seen: list[str]) -> Boot:
        """The present boot, on disk before it is returned. `seen`: boots whose files are in the spool."""
        numbers = [int(found[1]) for name in [*seen, *self.by_name] if (found := NAME.fullmatch(name))]
        number = max(numbers, default=0) % NUMBER_MAX + 1
        self.by_name = {name: self.by_name.get(name, Boot(name, "")) for name in seen}
        boot = Boot(f"{number:06d}-{random_hex}", kernel)
        siblings = [one for one in self.by_name.values() if one.kernel == kernel and one.offset_ms is not None]
        boot.offset_ms = siblings[-1].offset_ms if siblings else None
        self.by_name[boot.name] = boot
        self.save()
        return boot

    def learn(self, kernel: str, offset_ms: int) -> None:
        """The clock of this kernel's start is now known: for every boot under it that had no offset yet."""
        changed = False
        for boot in self.by_name.values():
            if boot.kernel == kernel and boot.offset_ms is None:
                boot.offset_ms, changed = offset_ms, True
        if changed:
            self.save()

    def gave_up(self, boot: Boot, upto_seq: int) -> None:
        """Rows up to `upto_seq` go out with their time unsure."""
        if upto_seq > boot.unsure_upto:
            boot.unsure_upto = upto_seq
            self.save()

    def repaired(self, boot: Boot) -> None:
        """The server has them with their right time."""
        boot.unsure_upto = 0
        self.save()

    def repairable(self, name: str, kernel: str) -> bool:
        """Are rows of it to go out again, now or when the time is learnt?"""
        boot = self.by_name.get(name)
        return boot is not None and boot.unsure_upto > 0 and (boot.offset_ms is not None or boot.kernel == kernel)

    def forget(self, name: str) -> None:
        """All its rows are stored. On disk with the next save."""
        self.by_name.pop(name, None)

    def save(self) -> None:
        """Write the file."""
        content = {"version": 1, "latest_ms": self.latest_ms, "boots": [asdict(boot) for boot in self.by_name.values()]}
        write_whole(self._disk, self._path, json.dumps(content).encode())

    def _load(self) -> None:
        if self._path.name not in self._disk.names(self._path.parent):
            return
        raw, _ = read_whole(self._disk, self._path)
        try:
            content = json.loads(raw)
            self.by_name = {one["name"]: Boot(**one) for one in content["boots"]}
            self.latest_ms = int(content["latest_ms"])
        except (ValueError, KeyError, TypeError):
            # The rows are what matters: names of boots are also in the files' names, offsets are lost and said so.
            self.by_name, self.unreadable = {}, True
