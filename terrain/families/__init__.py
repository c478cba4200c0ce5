"""Obstacle families: each a pure function of a level, a yardstick, a generator and its own parameters."""
