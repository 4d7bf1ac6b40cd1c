"""Shrunken robust regression with one random offset per source; whole groups left out; the tables that fits write."""

import argparse
from pathlib import Path

import numpy as np
import pandas as pd

from forgeprops.base.tables import data_path


def options(doc, *paths, **flags):
    """Arguments of a script of this folder: ``--write`` always; `paths` and `flags` as it needs."""
    how = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=doc, formatter_class=how)
    for name in paths:
        parser.add_argument(name, type=Path)
    for name in (*flags, "write"):
        parser.add_argument(f"--{name}", action="store_true", help=flags.get(name))
    return parser.parse_args()


def fit(columns, residual, group, prior_sd, group_sd, noise_sd, huber=1.0, rounds=25):
    """Coefficients of `columns` that explain `residual`, and their standard errors.

    Ridge towards zero with `prior_sd` per column; every group (source of data) has its own offset drawn from
    N(0, group_sd), which is thrown away; residuals beyond `huber` noise_sd count less (Huber weights).
    """
    present = np.unique(group)
    a = np.hstack([columns, (group[:, None] == present[None]).astype(float)])
    sd = np.concatenate([np.asarray(prior_sd, float), np.full(len(present), group_sd)])
    penalty, weight = np.diag(1.0 / sd**2), np.ones(len(residual))
    for _ in range(rounds):
        w = weight / noise_sd**2
        curvature = a.T @ (a * w[:, None]) + penalty
        b = np.linalg.solve(curvature, a.T @ (w * residual))
        left = np.abs(residual - a @ b) / noise_sd
        weight = np.minimum(1.0, huber / np.maximum(left, 1e-12))
    k = columns.shape[1]
    return b[:k], np.sqrt(np.diag(np.linalg.inv(curvature))[:k])


def leave_groups_out(columns, residual, group, prior_sd, train=None, predict_columns=None, **how):
    """What the fit predicts for each group when that whole group is left out of it; `how` as of `fit`."""
    train = np.ones(len(residual), bool) if train is None else train
    seen = columns if predict_columns is None else predict_columns
    out = np.empty(len(residual))
    for g in np.unique(group):
        inside = group == g
        used = ~inside & train
        b, _ = fit(columns[used], residual[used], group[used], prior_sd, **how)
        out[inside] = seen[inside] @ b
    return out


def group_bootstrap(error, group, draws=2000, seed=1, level=0.9):
    """Interval of the mean absolute error when whole groups are drawn with replacement."""
    of = np.unique(group, return_inverse=True)[1]
    total, count = np.bincount(of, np.abs(error)), np.bincount(of)
    pick = np.random.default_rng(seed).integers(0, len(total), (draws, len(total)))
    means = total[pick].sum(1) / count[pick].sum(1)
    return tuple(np.quantile(means, [(1 - level) / 2, (1 + level) / 2]))


def write(name, rows, notes, header=None):
    """Rewrite a table of data/: `notes` above it line by line, rows as dicts, or as tuples under a header."""
    notes = "".join(f"# {line.strip()}\n" for line in notes.strip().splitlines())
    table = pd.DataFrame(rows, columns=header).to_csv(index=False, lineterminator="\n")
    data_path(name).write_text(notes + table, encoding="utf-8", newline="\n")
