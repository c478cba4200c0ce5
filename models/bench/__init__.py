"""The bench: what scale, ruler, board and lever say about a truck, and how a build sheet is made to agree with it.

Knows trucks; no engine, no terrain. Readings come in with their units, everything inside is SI.
"""
