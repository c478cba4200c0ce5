"""Where finished trials lie: one SQLite file, durable trial by trial."""
