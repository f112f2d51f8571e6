"""The simulated pump, well, array, tank and sky. It shares no code with `analysis`."""
