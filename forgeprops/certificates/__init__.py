"""Mill certificates: layout, rows, reading."""
