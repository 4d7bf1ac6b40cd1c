"""The display units of the notebooks, chosen once and kept between them."""

from pathlib import Path

from ..base.errors import InputError
from ..units import Units

_chosen: list[Units] = []


def units_file() -> Path:
    """Where the choice is kept between notebooks: a small file in Jupyter's own configuration folder."""
    from jupyter_core.paths import jupyter_config_dir

    return Path(jupyter_config_dir()) / "forgeprops_units.json"


def units() -> Units:
    """Return the chosen units: what was chosen here, else what was kept on file, else those of the package."""
    if not _chosen:
        try:
            _chosen.append(Units.load(units_file()))
        except (ImportError, InputError):  # no file yet, or one that says nothing usable
            _chosen.append(Units())
    return _chosen[-1]


def choose_units(*, keep: bool = True, **chosen: str) -> Units:
    """Choose the display units by the names of `Units`, for this notebook and (with `keep`) for every later one."""
    made = Units(**chosen)
    _chosen[:] = [made]
    if keep:
        path = units_file()
        path.parent.mkdir(parents=True, exist_ok=True)
        made.save(path, overwrite=True)
    return made
