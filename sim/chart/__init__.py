"""Pictures. Only this folder knows matplotlib; :mod:`sim.chart.style` holds the one visual language."""
