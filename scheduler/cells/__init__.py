"""Lithium-cell arithmetic: pure functions of numbers, importing nothing of ours.

Units stand in names and docstrings: volts, amperes, milliohms, days, degrees Celsius, percent of capacity.
How far each estimator can be trusted, by published and open data, is in ACCURACY.md beside this file.
"""
