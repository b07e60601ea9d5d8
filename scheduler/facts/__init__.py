"""Facts: named quantities of an item at every instant, computed from its events."""
