#: Rows of data/sources behind each public formula; () is bookkeeping without one.
SOURCES = {
    "step": ("time_step",),
    "section": ("wall_points",),
    "balance": ("zone_bridges", "radiation"),
    "JET_W_M2K": ("end_quench_jet",),
    "heads": ("plastic_work",),
    "outcome": ("retained_austenite_hardness",),
}
