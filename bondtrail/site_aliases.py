"""Aliases that name a topic: the station's own unit and channel stand for each + in them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bondtrail.site_problems import Problems, shown
from bondtrail.site_tables import LONGEST_ALIAS, Role

_KEYS = {1: ("channel",), 2: ("unit", "channel")}
"""What the levels of a topic that are + stand for, by how many there are."""

_RESERVED = frozenset("/+#")


class AliasError(ValueError):
    """An alias whose + stands for nothing; ``wrong`` says why and ``right`` what would do."""

    def __init__(self, wrong: str, right: str) -> None:
        super().__init__(wrong, right)
        self.wrong = wrong
        self.right = right


def whole_alias(alias: str, own: Mapping[str, Any]) -> str:
    """Return an alias with the unit and channel of its station in the place of each +.

    Parameters
    ----------
    alias : str
        As written. Only in ``topic#field`` does a level that is + stand for something: one is the
        channel, two are unit and channel.
    own : mapping
        The station's table.

    Raises
    ------
    AliasError
        If there are more, or the station does not have what they stand for.
    """
    topic, mark, field = alias.partition("#")
    levels = topic.split("/")
    places = [place for place, level in enumerate(levels) if level == "+"]
    if not mark or not places:
        return alias
    if len(places) not in _KEYS:
        wrong = f"{shown(alias)} has {len(places)} levels that are +"
        raise AliasError(wrong, "one + for the channel, or two for unit and channel")
    for place, key in zip(places, _KEYS[len(places)], strict=True):
        levels[place] = _level(alias, key, own.get(key))
    whole = "/".join(levels) + mark + field
    if len(whole) > LONGEST_ALIAS:
        raise AliasError(f"{shown(whole)} is too long", f"at most {LONGEST_ALIAS} characters")
    return whole


def _level(alias: str, key: str, value: str | int | None) -> str:
    """Return what stands for one +."""
    if value is None:
        wrong = f"{shown(alias)} has a + for the {key}, but this station has no {key}"
        raise AliasError(wrong, f"{key} in this [[station]], or an alias without +")
    level = str(value)
    if level != level.strip() or not _RESERVED.isdisjoint(level):
        wrong = f"{key} {shown(value)} cannot stand for the + in {shown(alias)}"
        raise AliasError(wrong, f"a {key} without / + # and without blanks at its ends")
    return level


def resolve_aliases(
    written: Mapping[str, Any],
    own: Mapping[str, Any],
    points: Mapping[Role, dict[str, Any]],
    title: str,
    problems: Problems,
) -> None:
    """Put what a station is in the place of each + of its aliases, noting where that is nothing.

    Parameters
    ----------
    written, own : mapping
        The station's table as it stands in the file, and its sound items.
    points : mapping of Role to dict
        The station's points; changed.
    title : str
        What errors call the station.
    problems : Problems
        Where to note it.
    """
    faulty = {"unit", "channel"} & (written.keys() - own.keys())
    for role, table in points.items():
        aliases = []
        for alias in table.get("alias", []):
            try:
                aliases.append(whole_alias(alias, own))
            except AliasError as exc:
                if not faulty:  # else it is noted already
                    problems.add(title, f"points.{role}.alias", exc.wrong, exc.right)
        if "alias" in table:
            table["alias"] = aliases
