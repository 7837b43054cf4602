"""Bus traces: signals and their changes, sampled to observations."""
