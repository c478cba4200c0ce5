"""Pictures. Only this folder knows matplotlib; :mod:`sim.chart.style` holds the one visual language."""

FORMATS = ("png", "svg", "pdf")
"""Picture formats that can be asked for."""
PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height of a sheet, mm (ISO 216; ANSI/ASME Y14.1)."""
