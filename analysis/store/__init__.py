"""Everything that is kept: sites, readings, findings, state, people. SQLite by default, PostgreSQL by the same code.

`open_store(url)` is the door; all SQL of the product lies in this package, a file a concern.
"""

from analysis.store.store import Store, StoreError, open_store

__all__ = ["Store", "StoreError", "open_store"]
