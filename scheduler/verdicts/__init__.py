"""Verdicts: a rule applied to an item, as a partition of time into yes, no and unknown."""
