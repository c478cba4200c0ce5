"""Pictures. Only this folder knows matplotlib; :mod:`sim.chart.style` holds the one visual language."""

FORMATS = ("png", "svg", "pdf")
"""Picture formats that can be asked for."""
