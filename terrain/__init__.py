"""Ground to drive on: height grids, obstacle families, test terrains, courses, scans.

Everything is sized by a truck's wheelbase and tyre radius given as plain numbers; nothing here knows a truck.
Start at :mod:`terrain.catalog` (an obstacle by name and level) or :mod:`terrain.heightfield`.
"""
