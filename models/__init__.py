"""What the truck is: build sheets, changes, mass properties and the rigid model made from them.

Nothing here knows an engine, a terrain or a chart. Files speak the bench's units (g, mm, deg); the modules that
compute (:mod:`models.massprops` and what stands on it) work in SI.
"""
