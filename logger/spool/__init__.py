"""Readings on disk until the server has stored them: spool.py is the way in; disk.py can be stood in for.

The folder holds `<boot>.<first seq>.rows` (segment.py: framed records of row.py) and `boots.json` (boots.py).
"""

from logger.spool.disk import Disk
from logger.spool.row import Row
from logger.spool.spool import Spool, SpoolError

__all__ = ["Disk", "Row", "Spool", "SpoolError"]
