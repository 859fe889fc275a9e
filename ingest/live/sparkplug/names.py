"""Which point a metric is of: by its whole path, else by its bare name."""

from __future__ import annotations

from dataclasses import dataclass

from bondtrail.site import Point, Site
from ingest.live.sparkplug.reasons import Wrong

Owner = tuple[str, str, str]
"""Group, node and device; no device where the metric is the node's own."""


@dataclass(frozen=True, slots=True)
class Found:
    """What a metric is.

    Attributes
    ----------
    point : Point or None
        What it is of; None where the site file does not know it, or it is not taken.
    wrong : Wrong or None
        Why a metric that the site file knows is not taken.
    displaced : Owner or None
        Whose readings no longer go to the point.
    """

    point: Point | None = None
    wrong: Wrong | None = None
    displaced: Owner | None = None


_UNKNOWN, _CLAIMED = Found(), Found(wrong=Wrong.CLAIMED)
_TWO_NAMES = Found(wrong=Wrong.TWO_NAMES)


class Names:
    """Finds the points of metrics, and keeps two devices from giving one point their readings.

    A bare name gives a point to the device that is first to use it, until that dies or no longer
    names it. A whole path is always right, and takes the point from whoever had it by the bare name
    alone.

    Parameters
    ----------
    site : Site
        Whose aliases and names of points are looked at.
    """

    def __init__(self, site: Site) -> None:
        self._site = site
        self._by_name: dict[str, Owner] = {}
        self._by_path: dict[str, Owner] = {}
        self._remembered: dict[str, Owner] = {}
        self._pathed: dict[str, Owner] = {}
        groups = site.sparkplug.groups
        self._groups = None if groups is None else frozenset(groups)
        aliases = (alias.split("/") for point in site.points() for alias in point.aliases)
        self._nodes = frozenset((parts[0], parts[1]) for parts in aliases if len(parts) > 2)

    def follows(self, group: str) -> bool:
        """Return whether the nodes of a group are listened to."""
        return self._groups is None or group in self._groups

    def knows(self, group: str, node: str) -> bool:
        """Return whether the site file names a node: by its group, or by the path of a metric."""
        if self._groups is not None:
            return group in self._groups
        return (group, node) in self._nodes

    def find(self, owner: Owner, metric: str) -> Found:
        """Return which point a metric of a device is of."""
        path = _path(owner, metric)
        point = self._site.point(path)
        if point is not None:
            # A node's metric DEVICE/METRIC reads like one of the device.
            if self._by_path.setdefault(path, owner) != owner:
                return _CLAIMED
            self._pathed[point.name] = owner
            return self._found(point, owner, self._by_name.pop(point.name, owner))
        point = self._site.point(metric)
        if point is None:
            return _UNKNOWN
        pathed = self._pathed.get(point.name)
        if pathed is not None:
            return _TWO_NAMES if pathed == owner else _CLAIMED
        if self._by_name.setdefault(point.name, owner) != owner:
            return _CLAIMED
        return self._found(point, owner, owner)

    def _found(self, point: Point, owner: Owner, displaced: Owner) -> Found:
        """Return a point that a device has; who had it by a bare name, or has it no more, loses."""
        if displaced == owner:
            displaced = self._remembered.pop(point.name, owner)
        return Found(point, displaced=None if displaced == owner else displaced)

    def remember(self, owner: Owner, metric: str, point: str) -> Point | None:
        """Let a device have a point that it gave before a restart, until another names it.

        Returns
        -------
        Point or None
            The point; None where the metric is no longer of it, or another device has it by now.
        """
        path = _path(owner, metric)
        found = self._site.point(path)
        if found is not None:
            is_free = self._by_path.get(path, owner) == owner
        else:
            found = self._site.point(metric)
            is_free = point not in self._pathed and self._by_name.get(point, owner) == owner
        if found is None or found.name != point or not is_free or not self.follows(owner[0]):
            return None
        self._remembered[point] = owner
        return found

    def release(self, owner: Owner, point: str) -> None:
        """Let others have a point that a device has by a bare name; it stays its own until then."""
        if self._by_name.get(point) == owner:
            del self._by_name[point]
            self._remembered[point] = owner


def _path(owner: Owner, metric: str) -> str:
    return "/".join([*filter(None, owner), metric])
