"""Lithium-cell arithmetic: pure functions of numbers that import nothing else of this package.

Names and docstrings give the units: volts, amperes, milliohms, days, degrees Celsius, percent of capacity.
How far each estimator can be trusted, by published and open data, is in ACCURACY.md beside this file.
"""
