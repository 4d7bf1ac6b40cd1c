"""Grades and heads for which the limits of the random draws were set.

A draw over the whole library changes with every grade that joins it, and with the draw the cases that a limit was set for. What
a wider draw finds is added beside it by name.
"""

GRADES = tuple(
    "1015 1018 1020 1025 1030 1035 1040 1045 1050 5120 5130 5140 4118 4120 4130 4135 4140 4150 4340 8620 S20C S25C S35C S45C "
    "SCM415 SCM420 SCM435 SCM440 41Cr4 25CrMo4 34CrMo4 42CrMo4".split()
)
HEADS = ("mid-iron", "long-iron", "wedge")
