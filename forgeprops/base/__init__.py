"""Errors, constants, ranges and the reader of data/."""
