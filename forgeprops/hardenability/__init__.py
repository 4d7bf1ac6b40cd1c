"""Hardenability from chemistry: ideal diameter, end-quench curve, critical rates, carbon equivalents."""
