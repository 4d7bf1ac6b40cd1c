"""The hosel on the bending bench."""
