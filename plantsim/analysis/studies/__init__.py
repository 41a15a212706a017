"""Studies: one plant a thousand times over, with values drawn from ranges and distributions."""
