"""Drawings of a report, as SVG inside the page. Grey is normal; what is not has a shape and a word.

The same rows give the same bytes: no date, and ids made from a fixed salt.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from threading import Lock
from typing import Any

import matplotlib as mpl
import numpy as np
import pandas as pd
from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator

WIDTH_IN = 7.1
"""That of the text on an A4 page."""
MOST_BARS = 20
MOST_STATIONS = 40

INK, LINE, FAINT, ABNORMAL = "#23272b", "#7d8790", "#d3d1ca", "#d55e00"
"""The abnormal one is the vermillion of Okabe and Ito, "Color Universal Design" (2008)."""

_STYLE: Any = {
    "svg.fonttype": "none",
    "svg.hashsalt": "bondtrail",
    "text.parse_math": False,  # names are names
    "font.size": 8,
    "axes.edgecolor": LINE,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": LINE,
    "ytick.color": LINE,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "text.color": INK,
}


_ONE_AT_A_TIME = Lock()


@contextmanager
def style() -> Iterator[None]:
    """Draw in our style; it is one for the whole process, so threads must wait for each other."""
    with _ONE_AT_A_TIME, mpl.rc_context(_STYLE):
        yield


def weekly_shares(rows: pd.DataFrame) -> Markup:
    """Draw the share of transfers that is not compliant by week, with its limits.

    Parameters
    ----------
    rows : DataFrame
        With ``week``, ``share``, ``centre``, ``lower``, ``upper`` and ``outside``, one row a
        week; a week without transfers has NaN.
    """
    at = np.arange(len(rows))
    label = (
        "Share of transfers that is not compliant by week, with the centre line and the control "
        "limits of each week; the table below has the figures."
    )
    with style():
        figure, axes = _axes(2.3)
        limits: Any = {"where": "mid", "color": LINE, "linewidth": 0.9}
        axes.step(at, rows["upper"], linestyle=(0, (4, 2)), label="control limits", **limits)
        axes.step(at, rows["lower"], linestyle=(0, (4, 2)), **limits)
        axes.plot(at, rows["centre"], color=LINE, linewidth=0.9, label="centre line")
        axes.plot(at, rows["share"], color=INK, linewidth=0.7, marker="o", markersize=3.5)
        outside = (rows["outside"].fillna("") != "").to_numpy()
        axes.plot(
            at[outside],
            rows["share"][outside],
            linestyle="none",
            marker="D",
            markersize=7,
            markerfacecolor="none",
            color=ABNORMAL,
            label="outside its limits",
        )
        _count_axis(axes, at, rows["week"])
        axes.set_ylim(bottom=0)
        axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:.3g} %"))
        axes.set_ylabel("not compliant")
        _legend(figure, axes)
        return svg(figure, "weeks", label)


def _count_axis(axes: Axes, at: np.ndarray[Any, Any], names: pd.Series[Any]) -> None:
    """Name every so many of the positions, so that the names do not overlap."""
    step = max(1, -(-len(at) // 13))
    axes.set_xticks(at[::step], [str(name) for name in names[::step]])
    axes.margins(x=0.04)


def pareto_bars(rows: pd.DataFrame) -> Markup:
    """Draw the causes with the largest counts, and how much of all they make up together.

    Parameters
    ----------
    rows : DataFrame
        With ``station``, ``cause``, ``count`` and ``cumulative``, the largest first.
    """
    shown = rows.head(MOST_BARS)
    at = np.arange(len(shown))
    names = [f"{a}: {b}" for a, b in zip(shown["station"], shown["cause"], strict=True)]
    counts = shown["count"].to_numpy(float)
    label = "Nuisance trips by station and cause, the largest first; the table has the figures."
    with style():
        figure, axes = _axes(0.55 + 0.19 * len(shown))
        axes.barh(at, counts, height=0.66, color=FAINT, edgecolor=LINE, linewidth=0.6)
        for place, (count, part) in enumerate(zip(counts, shown["cumulative"], strict=True)):
            text = f"{count:,.0f}, so far {100 * part:.0f} %"
            gap: Any = {"xytext": (4, 0), "textcoords": "offset points"}
            axes.annotate(text, (count, place), va="center", fontsize=7, **gap)
        axes.set_yticks(at, names)
        axes.invert_yaxis()
        axes.grid(visible=False, axis="y")
        axes.set_xlim(0, 1.25 * max(counts, default=1))
        axes.xaxis.set_major_locator(MaxNLocator(integer=True))
        axes.set_xlabel("nuisance trips")
        return svg(figure, "pareto", label)


def station_intervals(rows: pd.DataFrame) -> Markup:
    """Draw the compliance of each station with its interval; nothing for very many stations.

    Parameters
    ----------
    rows : DataFrame
        With ``station``, ``compliance``, ``compliance_low`` and ``compliance_high``.
    """
    shown = rows[rows["compliance"].notna()]
    if shown.empty or len(shown) > MOST_STATIONS:
        return Markup()
    at = np.arange(len(shown))
    ends = shown["compliance_low"].to_numpy(float), shown["compliance_high"].to_numpy(float)
    label = "Compliance by station with its 95 % interval; the table has the figures."
    with style():
        figure, axes = _axes(0.55 + 0.19 * len(shown))
        axes.hlines(at, *ends, color=LINE, linewidth=1.6)
        axes.plot(shown["compliance"], at, linestyle="none", marker="o", markersize=4, color=INK)
        axes.set_yticks(at, list(shown["station"]))
        axes.invert_yaxis()
        axes.set_xlim(right=1.005)
        axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{100 * value:.3g} %"))
        axes.set_xlabel("compliant transfers, with the 95 % interval")
        return svg(figure, "stations", label)


DRAWINGS: Mapping[str, Callable[[pd.DataFrame], Markup]] = {
    "weekly_shares": weekly_shares,
    "pareto_bars": pareto_bars,
    "station_intervals": station_intervals,
}
"""What a table may name as its chart."""


def _axes(height_in: float) -> tuple[Figure, Axes]:
    figure = Figure(figsize=(WIDTH_IN, height_in), layout="constrained")
    axes = figure.add_subplot()
    axes.grid(color=FAINT, linewidth=0.4)
    axes.set_axisbelow(True)
    return figure, axes


def _legend(figure: Figure, axes: Axes) -> None:
    figure.legend(
        *axes.get_legend_handles_labels(), loc="outside upper right", ncols=3, frameon=False
    )


def svg(figure: Figure, name: str, label: str) -> Markup:
    """Return the drawing as it stands inside a page, its ids apart from those of others."""
    content = io.StringIO()
    figure.savefig(
        content,
        format="svg",
        transparent=True,
        metadata={"Date": None, "Creator": None, "Format": None, "Type": None},
    )
    text = content.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>|<style.*?</style>", "", text, flags=re.DOTALL)
    text = re.sub(r'(\bid="|url\(#|href="#)', rf"\g<1>{name}-", text)
    opened = Markup('<svg role="img" aria-label="{}"').format(label)
    return opened + Markup(text.removeprefix("<svg"))
