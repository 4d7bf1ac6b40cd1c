"""Studies of the process: many cases, comparison, window, search, scatter."""
