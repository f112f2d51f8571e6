"""The sources' small memory over restarts (pulse counts), in `sources.json`, put in place as a whole when it changed.

It is kept before the rows that it led to are accepted: a register that was published never falls back at a restart.
Flow: agent -> spool.py -> HERE -> disk.py. Never: what a source remembers, or why.
"""

import json
from pathlib import Path
from typing import Any

from logger.spool.disk import Disk, read_whole, write_whole

FILE = "sources.json"


class Memory:
    """OSError as the disk's. `unreadable`: the file was damaged, so that sources start from what the settings say."""

    def __init__(self, disk: Disk, folder: Path):
        self._disk, self._path = disk, folder / FILE
        self._kept = ""
        self.unreadable = False

    def recall_into(self, state: dict[str, Any]) -> None:
        """Fill the memories of the sources that the settings name; those of others are forgotten."""
        if FILE not in self._disk.names(self._path.parent):
            return
        raw, _ = read_whole(self._disk, self._path)
        try:
            kept = json.loads(raw)
            for name, memory in state.items():
                memory.update(kept.get(name, {}))
        except (ValueError, AttributeError, TypeError):
            self.unreadable = True
        self._kept = json.dumps(state, sort_keys=True)

    def keep(self, state: dict[str, Any]) -> None:
        """Write what changed."""
        content = json.dumps(state, sort_keys=True)
        if content != self._kept and any(state.values()):
            write_whole(self._disk, self._path, content.encode())
            self._kept = content
