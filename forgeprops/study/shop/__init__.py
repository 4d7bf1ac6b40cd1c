"""The shop's own data: readings, fit, acceptance of heats, causes, tracking."""
