"""The store: one SQLite database that holds every file seen, every firing, each kiln's state, and the logbook."""
