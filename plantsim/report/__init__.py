"""Pictures and the page of a finished run; the drawing library is loaded when something is drawn."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from plantsim.store.data import RunData

__all__ = ["write_page"]


def write_page(run: RunData, folder: Path) -> list[Path]:
    """Write the pictures and the page of a run into a folder; see `plantsim.report.page`.

    Parameters
    ----------
    run : RunData
        The run, [-]
    folder : Path
        Where the files go; it must exist, [-]

    Returns
    -------
    list of Path
        `trends.png`, `bed-<clarifier>.png`, `report.html`, [-]
    """
    from plantsim.report.page import write_page as write

    return write(run, folder)
