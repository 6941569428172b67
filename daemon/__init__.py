"""The running service: command line, folder, store, schedule, alerts, delivery, report, logbook, live watch."""
