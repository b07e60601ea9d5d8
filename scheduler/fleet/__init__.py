"""The fleet: the items and their nameplates, as fleet.yaml declares them."""
