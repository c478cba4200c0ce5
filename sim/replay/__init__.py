"""A driven trial to look at again: where every body was, shapes to draw, cameras, a rasteriser, clips and films."""
