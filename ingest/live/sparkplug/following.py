"""Nodes that are followed by a site file: which points their metrics are of, whom to ask."""

from __future__ import annotations

from bondtrail.samples import Quality
from bondtrail.site import Site
from ingest.live.sparkplug.asking import ask
from ingest.live.sparkplug.known import Known
from ingest.live.sparkplug.names import Names, Owner
from ingest.live.sparkplug.nodes import Device, Node
from ingest.live.sparkplug.reading import Reading
from ingest.live.sparkplug.reasons import Wrong
from ingest.live.sparkplug.said import Said
from ingest.live.sparkplug.strangers import is_strange, may_be_asked
from ingest.live.sparkplug.taken import Taken


class Following:
    """Nodes and their devices, seen by the site file that holds.

    Parameters
    ----------
    site : Site
        Whose points the metrics are of.
    known : Known
        The nodes and devices.

    Attributes
    ----------
    known : Known
        As given.
    names : Names
        Which point a metric is of, by the site file that holds.
    """

    def __init__(self, site: Site, known: Known) -> None:
        self._site = site
        self.known = known
        self.names = Names(site)

    def follow(self, site: Site) -> None:
        """Take metrics by another site file from now on, and ask for births where it matters."""
        if site.text == self._site.text:
            return
        self._site, self.names = site, Names(site)
        for node in self.known.nodes.values():
            if not self.names.follows(node.group):
                node.let_go()
            for device in node.devices.values():
                self._rename(device)
                device.was_born = False
            node.wants_birth = node.is_alive
            self.known.watch(node)

    def reading(self, said: Said, device: Device, *, is_uncertain: bool = False) -> Reading:
        """Return what reads the metrics of a message."""
        return Reading(
            said,
            device,
            names=self.names,
            displace=self._displace,
            least=Quality.UNCERTAIN if is_uncertain else Quality.GOOD,
        )

    def may_ask(self, node: Node) -> bool:
        """Return whether to ask a node for its births: one that may be a stranger only once."""
        return may_be_asked(node, self.names)

    def ask(self, node: Node, now: int, taken: Taken) -> None:
        """Ask a node for its births, if it may be ours and was not asked lately."""
        if self.may_ask(node):
            ask(node, now, taken)

    def is_strange(self, node: Node) -> bool:
        """Return whether nothing of a node is ours, as far as its births say."""
        return is_strange(node, self.names)

    def hush(self, node: Node, taken: Taken) -> None:
        """Tell nothing of what is wrong with a node of which nothing is ours."""
        if taken.refused and self.is_strange(node):
            taken.refused.clear()

    def _displace(self, owner: Owner, point: str) -> None:
        """Take a point away from a device that had it by a bare name."""
        node = self.known.nodes.get(owner[:2])
        device = node.devices.get(owner[2]) if node else None
        if device is not None:
            device.displace(point)

    def _rename(self, device: Device) -> None:
        """Find the points of a device anew, by the site file that holds now."""
        points, device.points = device.points, {}
        for name, tag in device.names.items():
            if tag.wrong is Wrong.CLAIMED:
                continue  # the next reading shows who has it
            found = self.names.find(device.owner, name)
            if found.displaced is not None and found.point is not None:
                self._displace(found.displaced, found.point.name)
            tag.wrong = found.wrong
            tag.heard = None if found.point is None else device.heard_of(found.point, name)
        for point, before in points.items():
            named = device.names.get(before.metric)  # not since a restart, a death, its last birth
            is_named = named is not None and named.heard is not None
            if not is_named and (kept := self.names.remember(device.owner, before.metric, point)):
                device.heard_of(kept, before.metric)
        for point, heard in device.points.items():
            if (old := points.get(point)) is not None:
                heard.time, heard.value, heard.marked = old.time, old.value, old.marked
                heard.is_told = old.is_told and old.metric == heard.metric
                heard.alias, heard.datatype, heard.session = old.alias, old.datatype, old.session
