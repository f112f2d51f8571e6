"""What the pages show, worked out of what the store holds: pure functions, no I/O."""
