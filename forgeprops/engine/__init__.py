#: Rows of data/sources behind each public formula; () is bookkeeping without one.
SOURCES = {
    "march": ("time_step", "zone_bridges", "radiation"),
    "section": ("wall_points",),
    "JET_W_M2K": ("end_quench_jet",),
    "run": ("plastic_work",),
    "outcome": ("retained_austenite_hardness",),
}
