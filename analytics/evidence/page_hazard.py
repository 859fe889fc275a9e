"""The page of a package: what the charge could have been, from what, and what that cannot see."""

from __future__ import annotations

from collections.abc import Iterator

from analytics.core.electrostatics.spread import Level
from analytics.evidence.layout import Column, Listing, Row, Section, Table, Width
from analytics.evidence.page_facts import Source
from analytics.evidence.rows import Plain
from analytics.evidence.words import LEAST, amount, digits, name_of, told
from analytics.reports.words import NOTHING

LEVELS = tuple(map(str, Level))
FIGURES = (
    "peak_potential_V",
    "peak_charge_uC",
    "peak_energy_mJ",
    "mie_ratio",
    "first_over_mie",
    "seconds_over_mie",
    "relaxation_time_s",
    "velocity_m_s",
    "velocity_limit_m_s",
)

DRAWN = (
    f"Drawn: the energy that the vessel could have held. Below {digits(LEAST)} mJ a line leaves "
    "the drawing."
)


def hazard(source: Source) -> Section:
    """Return the estimate, or why there is none; what it cannot see stands there in any case."""
    of = source.replay["hazard"]
    drawn = source.drawing("hazard")
    text = [source.replay["caution"], *of["reasons"], *([DRAWN] if drawn else [])]
    there = all(of[level] for level in LEVELS)
    return Section(
        "What the charge could have been",
        text,
        drawings=drawn,
        tables=[_figures(source, of), _inputs(of)] if there else [],
        notes=list(_notes(of)),
    )


def _notes(of: Plain) -> Iterator[Listing]:
    beside = list(_beside(of))
    if beside or of["notes"]:
        yield Listing("Notes to the estimate", [*beside, *of["notes"]])
    yield Listing("Not seen by it", of["unseen"])


def _beside(of: Plain) -> Iterator[str]:
    if of["conductivity_class"] is not None:
        yield f"Conductivity class: {of['conductivity_class']}."
    if (wait := of["wait_s"]) is not None:
        yield (
            "Wait after flow before unclamping, opening or sampling: "
            f"{_spread(wait)}. Source: {wait['source']}"
        )


def _figures(source: Source, of: Plain) -> Table:
    columns = (Column("Estimate"), *(Column(level.capitalize(), Width.NAME) for level in LEVELS))
    rows = [
        Row((_title(name), *(_figure(source, of[level], name) for level in LEVELS)))
        for name in FIGURES
    ]
    return Table(columns, rows)


def _title(name: str) -> str:
    said = name_of(name)
    return said[:1].upper() + said[1:]


def _figure(source: Source, figures: Plain, name: str) -> str:
    value = figures[name]
    if name == "first_over_mie":
        if value is not None:
            return source.clock.moment(value)
        return NOTHING if figures["mie_ratio"] is None else "never reached"
    return told(name, value)


def _inputs(of: Plain) -> Table:
    columns = (Column("Input", Width.LABEL), Column("At each level"), Column("Source"))
    rows = [Row((_title(name), _taken(row), row["source"])) for name, row in of["inputs"].items()]
    return Table(columns, rows, "What it is made of")


def _taken(row: Plain) -> str:
    """Return which value of an input each level takes."""
    unit, levels = row["unit"], row["taken"]
    if levels is None:
        return f"{_spread(row)}; each figure takes what fits its level"
    ends = {level: _end(levels[level], unit) for level in LEVELS}
    if len(set(ends.values())) == 1:
        return ends["typical"]
    return "; ".join(f"{level} {end}" for level, end in ends.items())


def _spread(row: Plain) -> str:
    """Return the one value, or the typical one with the ends of its range."""
    low, typical, high = (_end(row[level], row["unit"]) for level in LEVELS)
    return typical if low == typical == high else f"{typical} ({low} to {high})"


def _end(value: float | str, unit: str) -> str:
    return "without end" if isinstance(value, str) else amount(value, unit)
