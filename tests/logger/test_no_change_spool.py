"""A spool that an earlier version wrote still loads: bytes recorded from version 1 (our own output, not an outside truth)."""

import json
from pathlib import Path

from logger.spool import Row, Spool

BOOT = "000003-0000abcd"
ROWS = [
    Row(1, 1_763_000_000_000, 61_000, "unsure", {}),
    Row(2, 1_763_000_060_000, 121_000, "good", {"pv_voltage_v": 301.2, "volume_m3": 12.34, "water_level_m": None}),
    Row(
        3,
        1_763_000_120_000,
        181_000,
        "repaired",
        {"motor_running": 1.0, "module_temp_c": -3.5, "pv_current_a_max": 4.56},
    ),
]
SEGMENT = (
    "a7000c1b9b5b1f010180f8e8afcf6690b90702a70015ee486f470102c0a1f0afcf66d0e20e0004892f18e9c0012000a7"
    "0013fc147d99010380cbf7afcf66908c16013c0328460a9107"
)
BOOTS = {
    "version": 1,
    "latest_ms": 1_763_000_000_000,
    "boots": [{"name": BOOT, "kernel": "kernel-1", "offset_ms": 1_762_999_939_000, "unsure_upto": 0}],
}


def test_version_1_loads(tmp_path: Path):
    (tmp_path / f"{BOOT}.0000000001.rows").write_bytes(bytes.fromhex(SEGMENT))
    (tmp_path / "boots.json").write_text(json.dumps(BOOTS))
    spool = Spool(tmp_path, "kernel-1", "1111abcd")
    assert spool.rows(BOOT, 1, 10, 10) == ROWS
    assert not any(spool.counts[what] for what in ("torn", "damaged", "lost_blocks"))
    assert spool.boot.name == "000004-1111abcd"
    assert spool.boot.offset_ms == 1_762_999_939_000
