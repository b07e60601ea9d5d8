"""Events: what happened to the items of the fleet. Append-only, the only truth."""
