"""Verdicts: a rule applied to an item divides time into yes, no and unknown."""
