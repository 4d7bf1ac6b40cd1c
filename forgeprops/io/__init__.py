"""People's files in and ours out: whole or not at all, limited in size, nothing executed."""
