"""Readings on disk until the server has stored them; bounded; survives a power cut at any instruction.

Flow: agent -> `append`, `sync` -> HERE -> `rows` -> outbox -> link; `free` when the server's `stored` covers them.

*Accepted* means synced, and only accepted rows are given out: at most what was appended since the last `sync` can be
lost by a power cut. A boot's sequence has no hole when it is written. Where one shows later (a row thinned, or cut out
because it was damaged), `rows` gives a *tombstone* in its place: a row without values, so that the server can count the
sequence number as arrived.
Every OSError but an unreadable block ends the spool (SpoolError): after a failed sync nobody knows what is on the disk.
Never: a clock (rows come stamped), the broker.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from logger.spool.boots import Boots
from logger.spool.disk import Disk, write_all
from logger.spool.frames import framed
from logger.spool.memory import Memory
from logger.spool.opening import open_all
from logger.spool.row import Row, to_record
from logger.spool.segment import ROWS_MAX, Segment, describe, file_name, load, rewrite
from logger.spool.thinning import halved, pick

LIMIT_BYTES = 64_000_000


class SpoolError(Exception):
    """The spool's disk failed. The text says which folder and why; the process should end and be started again."""


class Spool:
    """The rows of every boot not yet stored. Opening makes a new boot, `boot`; SpoolError: the disk failed.

    counts
        `torn`: files whose last record was cut short; `damaged`: stretches cut out of the middle; `lost_blocks`: blocks
        that the disk would not give; `thinned`: rows that gave way to the limit; `rows_written`, `bytes_written`, `syncs`.
    """

    def __init__(
        self,
        folder: Path,
        kernel: str,
        random_hex: str,
        *,
        disk: Disk | None = None,
        limit_bytes: int = LIMIT_BYTES,
        segment_rows: int = ROWS_MAX,
    ):
        self.folder, self.limit_bytes, self._segment_rows = Path(folder), limit_bytes, segment_rows
        self.counts = dict.fromkeys(
            ("torn", "damaged", "lost_blocks", "thinned", "rows_written", "bytes_written", "syncs"), 0
        )
        self._disk = disk or Disk()
        self._open: Segment | None = None
        self._handle: Any = None
        self._open_rows: list[Row] = []
        self._cached: tuple[Path, list[Row]] | None = None
        self._next_seq, self._unsynced, self._new_names = 1, 0, False
        self.accepted_seq = 0
        self.broken = False
        with self._guarded():
            self._disk.make_folder(self.folder)
            self.boots, self.memory = Boots(self._disk, self.folder), Memory(self._disk, self.folder)
            self._closed = open_all(self._disk, self.folder, self.counts)
            self.boot = self.boots.begin(kernel, random_hex, list(dict.fromkeys(one.boot for one in self._closed)))

    # ---- writing

    def append(self, time_ms: int, mono_ms: int, clock: Any, values: dict[str, float | None]) -> Row:
        """Write one row at the end of the present boot. It is accepted once `sync` has returned."""
        row = Row(self._next_seq, time_ms, mono_ms, clock, values)
        frame = framed(to_record(row))
        with self._guarded():
            if self._open is not None and self._open.rows >= self._segment_rows:
                self._close_segment()
            if self._open is None:
                path = self.folder / file_name(self.boot.name, row.seq)
                self._handle = self._disk.create(path)
                self._open, self._new_names = Segment(path, self.boot.name, row.seq), True
            write_all(self._disk, self._handle, frame)
        self._open_rows.append(row)
        self._open.size += len(frame)
        describe(self._open, self._open_rows)
        self._next_seq += 1
        self._unsynced += 1
        self.counts["rows_written"] += 1
        self.counts["bytes_written"] += len(frame)
        return row

    @property
    def unsynced(self) -> int:
        """Rows that a power cut would lose now."""
        return self._unsynced

    def sync(self) -> None:
        """Accept all that was appended, and hold the limit."""
        with self._guarded():
            self._sync()
            while self.on_disk > self.limit_bytes and self._thin():
                pass

    def close(self) -> None:
        """Accept what is there and let go."""
        with self._guarded():
            if self._open is not None:
                self._close_segment()

    # ---- reading

    def boots_with_rows(self) -> list[str]:
        """Names of boots that have rows here, oldest first; the present one last."""
        names = dict.fromkeys(segment.boot for segment in self._closed)
        names.pop(self.boot.name, None)
        return [*names, self.boot.name]

    def first_seq(self, boot: str) -> int:
        """Of what is kept of a boot; all before it was stored (or never written)."""
        kept = [segment.first_seq for segment in self._segments() if segment.boot == boot]
        return kept[0] if kept else self.accepted_seq + 1 if boot == self.boot.name else 1

    def last_seq(self, boot: str) -> int:
        """The last accepted one of a boot, 0 where none is kept."""
        if boot == self.boot.name:
            return self.accepted_seq
        return max((segment.last_seq for segment in self._closed if segment.boot == boot), default=0)

    def rows(self, boot: str, from_seq: int, upto_seq: int, count_max: int) -> list[Row]:
        """Accepted rows from `from_seq` on, at most `count_max`, tombstones in every hole: no seq is missing.

        Freed rows are a hole as well: a server that lost its store hears that they will not come again.
        """
        upto_seq = min(upto_seq, self.last_seq(boot))
        found: list[Row] = []
        following = from_seq
        for segment in self._segments():
            if segment.boot != boot or segment.last_seq < following or following > upto_seq:
                continue
            for row in self._rows_of(segment):
                if row.seq < following:
                    continue
                while following < row.seq and following <= upto_seq and len(found) < count_max:
                    found.append(Row(following, row.time_ms, row.mono_ms, row.clock))
                    following += 1
                if len(found) >= count_max or row.seq > upto_seq:
                    return found
                found.append(row)
                following += 1
        while following <= upto_seq and found and len(found) < count_max:
            found.append(Row(following, found[-1].time_ms, found[-1].mono_ms, found[-1].clock))
            following += 1
        return found[:count_max]

    @property
    def kept_rows(self) -> int:
        """Rows on disk, stored ones in files not yet freed among them."""
        return sum(segment.rows for segment in self._segments())

    @property
    def on_disk(self) -> int:
        """Bytes of all files, in whole blocks."""
        return sum(segment.on_disk for segment in self._segments())

    @property
    def free_bytes(self) -> int:
        """Left on the disk."""
        with self._guarded():
            return self._disk.free_bytes(self.folder)

    # ---- freeing

    def free(self, boot: str, stored_seq: int) -> None:
        """Remove files whose every row the server has stored; not yet those whose times it has still to be told."""
        if self.boots.repairable(boot, self.boot.kernel):
            return
        done = [one for one in self._closed if one.boot == boot and one.last_seq <= stored_seq]
        with self._guarded():
            for segment in done:
                self._disk.remove(segment.path)
                self._closed.remove(segment)
        if done and boot != self.boot.name and all(one.boot != boot for one in self._closed):
            self.boots.forget(boot)

    # ---- memory of the sources (memory.py) and of the clock (boots.py)

    def recall_into(self, state: dict[str, Any]) -> None:
        """Fill the sources' memories with what was kept."""
        with self._guarded():
            self.memory.recall_into(state)

    def keep(self, state: dict[str, Any]) -> None:
        """Keep the sources' memories, before `sync` accepts the rows that they led to."""
        with self._guarded():
            self.memory.keep(state)

    def learn(self, offset_ms: int) -> None:
        """UTC = mono + `offset_ms` since the kernel started: repairs the rows of every boot under this kernel."""
        with self._guarded():
            self.boots.learn(self.boot.kernel, offset_ms)

    def gave_up(self, boot: str, upto_seq: int) -> None:
        """Rows of `boot` up to `upto_seq` go out with their time unsure; they are kept until `repaired`."""
        with self._guarded():
            self.boots.gave_up(self.boots.by_name[boot], upto_seq)

    def repaired(self, boot: str) -> None:
        """The server has the rows that went out unsure with their right time."""
        with self._guarded():
            self.boots.repaired(self.boots.by_name[boot])

    def remember_time(self, time_ms: int) -> None:
        """No later boot may think that it is earlier than this."""
        self.boots.latest_ms = max(self.boots.latest_ms, time_ms)
        with self._guarded():
            self.boots.save()

    # ---- inside

    def _segments(self) -> Iterator[Segment]:
        yield from self._closed
        if self._open is not None:
            yield self._open

    def _rows_of(self, segment: Segment) -> list[Row]:
        if segment is self._open:
            return self._open_rows
        if self._cached is None or self._cached[0] != segment.path:
            known = segment.rows
            with self._guarded():
                rows = load(self._disk, segment)
            self.counts["damaged"] += max(0, known - len(rows))  # worn away since the start
            self._cached = (segment.path, rows)
        return self._cached[1]

    def _sync(self) -> None:
        if self._unsynced:
            self._disk.sync(self._handle)
            if self._new_names:
                self._disk.sync_folder(self.folder)
                self._new_names = False
            self.counts["syncs"] += 1
        self.accepted_seq, self._unsynced = self._next_seq - 1, 0

    def _close_segment(self) -> None:
        self._sync()
        self._disk.close(self._handle)
        assert self._open is not None
        self._closed.append(self._open)
        self._open, self._handle, self._open_rows = None, None, []

    def _thin(self) -> bool:
        """Let rows give way once; False where nothing more can."""
        chosen = pick(self._closed, self._segment_rows)
        if not chosen:
            return self._drop_oldest()
        rows = [row for segment in chosen for row in list(self._rows_of(segment))]
        kept = halved(rows)
        rewrite(self._disk, chosen[0], kept)
        for segment in chosen[1:]:
            self._disk.remove(segment.path)
            self._closed.remove(segment)
        self._cached = None
        self.counts["thinned"] += len(rows) - len(kept)
        return True

    def _drop_oldest(self) -> bool:
        """Many boots of one or two rows each: only whole files can give way."""
        if not self._closed:
            return False
        oldest = self._closed.pop(0)
        self._disk.remove(oldest.path)
        self.counts["thinned"] += oldest.rows
        return True

    @contextmanager
    def _guarded(self) -> Iterator[None]:
        if self.broken:
            raise SpoolError(f"{self.folder}: the disk failed earlier; the logger must be started again")
        try:
            yield
        except OSError as error:
            self.broken = True
            raise SpoolError(f"{self.folder}: {error.strerror or error}") from error
