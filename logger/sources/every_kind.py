"""Imports every kind of source, which registers them. A new source adds its line here."""
