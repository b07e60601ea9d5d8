"""Facts: named quantities of an item at every instant, folded from its events."""
