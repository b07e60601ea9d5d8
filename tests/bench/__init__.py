"""Ratios in one run, printed and never asserted: `python -m tests.bench`, or `python -m tests.bench log rehearse`."""
