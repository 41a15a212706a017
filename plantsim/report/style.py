"""Looks of the pictures: sizes, colours, line styles, and the figure they are drawn on.

The colours are those of Okabe and Ito, which people with the common kinds of colour blindness can tell apart; the
order is our own, strongest contrast on white first, and yellow is left out as too pale for a line. Every colour has
its own line style too, for prints without colour.

References
----------
M. Okabe, K. Ito, "Color Universal Design (CUD): how to make figures and presentations that are friendly to
colorblind people", 2002, revised 2008 (palette values from memory).
"""

from __future__ import annotations

import functools
import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import matplotlib
from matplotlib import font_manager
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

DPI = 110
WIDTH = 9.4
LEFT, AXIS_RIGHT, LEGEND = 0.8, 0.8, 2.08
"""Inches left of the axes, for the ticks of a right-hand axis, and for the words beside it."""
AXES_WIDTH = WIDTH - LEFT - AXIS_RIGHT - LEGEND

LINES: tuple[tuple[str, Any], ...] = (
    ("#0072B2", "-"),
    ("#D55E00", (0, (8, 1.3))),
    ("#009E73", (0, (1.4, 1.1))),
    ("#CC79A7", (0, (8, 1.3, 1.4, 1.3))),
    ("#56B4E9", (0, (4, 1.1))),
    ("#E69F00", (0, (8, 1.3, 1.4, 1.3, 1.4, 1.3))),
    ("#000000", (0, (2.6, 1.1, 1, 1.1))),
)
"""Colour and line style of the first, second ... line of a panel."""

SHADE = "#ECE6D8"
LIMIT, SETPOINT = "#7A1F1F", "#4A4A4A"
LIMIT_DASHES = ((0, (6, 3)), (0, (11, 3)), (0, (6, 2, 1.5, 2)))
SETPOINT_DASHES = ((0, (3, 2.5)), (0, (5, 2, 1, 2)), (0, (1.5, 1.5)))
INK, FAINT = "#2B2B2B", "#B9B9B9"

RC: dict[str, Any] = {
    "font.family": ["DejaVu Sans"],  # comes with the drawing library: the same on every machine
    "font.size": 9.0,
    "axes.edgecolor": FAINT,
    "axes.linewidth": 0.7,
    "axes.labelcolor": INK,
    "axes.titlesize": 9.8,
    "axes.titleweight": "bold",
    "axes.titlecolor": INK,
    "axes.titlelocation": "left",
    "axes.titlepad": 4.0,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.major.size": 3.0,
    "ytick.major.size": 3.0,
    "xtick.major.width": 0.7,
    "ytick.major.width": 0.7,
    "grid.color": "#E3E3E3",
    "grid.linewidth": 0.6,
    "legend.fontsize": 8.5,
    "legend.frameon": False,
    "path.simplify": True,
    "path.simplify_threshold": 0.2,
    "agg.path.chunksize": 0,
    "axes.unicode_minus": True,
    "text.usetex": False,
    "text.parse_math": False,  # a name may hold a dollar sign
    "savefig.bbox": None,
}


@contextmanager
def looks() -> Iterator[None]:
    """Draw with our looks whatever the user's own drawing settings say."""
    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        settings: Any = matplotlib.rcParams
        settings.update(RC)
        yield


def new_figure(height: float) -> Figure:
    """Open an empty figure of our width, `height` [inches]."""
    figure = Figure(figsize=(WIDTH, height), dpi=DPI, facecolor="white")
    FigureCanvasAgg(figure)
    return figure


def drawable(text: str) -> str:
    """Text with a question mark for each sign our font cannot draw; line breaks stay."""
    return text if text.isascii() and text.isprintable() else "".join(c if _has_glyph(c) else "?" for c in text)


@functools.lru_cache(maxsize=4096)
def _has_glyph(sign: str) -> bool:
    if sign in "\n\u00a0\u202f":  # line end and the spaces that hold a number and its unit together
        return True
    font = font_manager.get_font(font_manager.findfont("DejaVu Sans"))
    return sign.isprintable() and font.get_char_index(ord(sign)) != 0


def axes_at(figure: Figure, top: float, height: float, width: float = AXES_WIDTH) -> Any:
    """Put axes with their upper edge `top` inches below that of the figure."""
    total = figure.get_size_inches()[1]
    return figure.add_axes((LEFT / WIDTH, 1.0 - (top + height) / total, width / WIDTH, height / total))


def png(figure: Figure, title: str) -> bytes:
    """Picture as PNG bytes that hold nothing of the hour or machine they were made on."""
    buffer = io.BytesIO()
    with looks():
        figure.savefig(buffer, format="png", dpi=DPI, pil_kwargs={"compress_level": 4},
                       metadata={"Software": "plantsim", "Title": _latin(title)})  # fmt: skip
    return buffer.getvalue()


def _latin(text: str) -> str:
    # text chunks of a PNG hold printable Latin-1 (W3C PNG specification, second edition, 11.3.4)
    return "".join(c if c.isprintable() else " " for c in text).encode("latin-1", "replace").decode("latin-1")[:79]
