"""Imports every kind of source, which registers them. A new source adds its line here."""

from logger.sources import modbus  # noqa: F401
