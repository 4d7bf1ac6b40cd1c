"""Hardness scales and strength from hardness."""
