"""Everything on one machine with invented pumps, through the same commands that a person would type."""
