"""Thermal time: what a day's temperatures are worth to a tree.

Daily minima and maxima become degree days directly (`degree_days`), or an hourly curve
(`hourly_temperatures`) from which winter chill (`chilling_hours`, `utah_units`, `chill_portions`)
and spring heat (`growing_degree_hours`) are counted. Every function is a pure function of NumPy
arrays whose last axis is time; leading axes (seasons, sites, draws) pass through unchanged.
"""

from timing.thermal.chill import chill_portions, chilling_hours, utah_units
from timing.thermal.degree_days import degree_days
from timing.thermal.forcing import growing_degree_hours
from timing.thermal.hourly import hourly_temperatures

__all__ = [
    "chill_portions",
    "chilling_hours",
    "degree_days",
    "growing_degree_hours",
    "hourly_temperatures",
    "utah_units",
]
