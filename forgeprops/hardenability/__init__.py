"""What the chemistry promises: ideal_diameter, end_quench, carbon_equivalent.

Functions are imported from their modules: two modules carry the name of their main function.
"""
