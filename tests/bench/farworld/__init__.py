"""A third plant, with laws of its own, to judge the diagnosis by."""
