"""Lithium-cell arithmetic: pure functions that import nothing else of the package.

Names and docstrings give the units: volts, amperes, milliohms, days, degrees Celsius, percent of capacity. How far each
estimator can be trusted, by published and open data, is in ACCURACY.md beside this file.
"""
