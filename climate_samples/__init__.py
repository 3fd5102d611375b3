"""Invented daily temperature records for nine invented places.

No number here was measured anywhere. ``generate.py`` draws every record from a seeded random
generator; each ``<slug>.csv`` has the columns ``date,tmin_c,tmax_c`` with one row a day, and
``samples.toml`` holds one table per slug: the invented place, its coordinates, the file, its first
and last day and its SHA-256. ``README.md`` says what each sample shows.
"""
