"""Addresses: each file is one concern, and translates between HTTP and the views, nothing else."""
