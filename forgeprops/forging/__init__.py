"""Formulas of forging: flow stress, press force, scale, decarburisation."""
