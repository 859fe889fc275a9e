"""What a broker was asked for on a connection, and whether it agreed."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Sequence
from typing import Any

from paho.mqtt.client import Client
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from ingest.live import trouble
from ingest.live.broker_url import Broker
from ingest.live.sparkplug import filters_of
from ingest.live.trouble import BrokerError

_SPARE = frozenset(filters_of(None))
"""What a broker may refuse: a site file that names no groups may have no edge nodes at all."""

log = logging.getLogger(__name__)


class Subscriptions:
    """The topic filters of one connection after another.

    Parameters
    ----------
    broker : Broker
        Who is asked.
    """

    def __init__(self, broker: Broker) -> None:
        self._broker = broker
        self._filters: list[str] = []
        self._asked: dict[int, list[str]] = {}

    @property
    def is_waiting(self) -> bool:
        """The broker owes an answer."""
        return bool(self._asked)

    @property
    def is_agreed(self) -> bool:
        """Something was asked for, and the broker has agreed to all of it."""
        return bool(self._filters) and not self._asked

    def forget(self) -> None:
        """Know of nothing that was asked for: the connection is gone."""
        self._filters = []
        self._asked = {}

    def ask(self, client: Client, filters: Iterable[str]) -> BrokerError | None:
        """Ask for these and no others; return the error where that cannot be sent."""
        wanted = list(dict.fromkeys(filters))
        new = [topic for topic in wanted if topic not in self._filters]
        old = [topic for topic in self._filters if topic not in wanted]
        asked = []
        if new:
            asked.append((client.subscribe([self._asked_for(topic) for topic in new])[1], new))
        if old:
            asked.append((client.unsubscribe(old)[1], old))
        self._filters = wanted
        self._asked |= {mid: topics for mid, topics in asked if mid is not None}
        if all(mid is not None for mid, _ in asked):
            return None
        return BrokerError(self._broker.where, "the connection broke while subscribing")

    def answered(self, mid: int, reasons: Sequence[ReasonCode]) -> BrokerError | None:
        """Note the answer of the broker; return the error where it refused what is needed."""
        said = zip(self._asked.pop(mid, []), reasons, strict=False)
        bad = {topic: str(reason) for topic, reason in said if reason.is_failure}
        for topic in _SPARE & bad.keys():
            log.warning(
                "%s: edge nodes are not listened to: %s (%s): name their groups in the "
                "site file ([sparkplug] groups), or give this user the right to read there (ACL)",
                self._broker.where,
                topic,
                bad.pop(topic),
            )
        return trouble.not_subscribed(self._broker.where, bad) if bad else None

    def _asked_for(self, topic: str) -> Any:
        if self._broker.version == "5":
            # What the broker keeps is sent with a subscription that is new to it, not each time.
            how = SubscribeOptions.RETAIN_SEND_IF_NEW_SUB
            return topic, SubscribeOptions(qos=1, retainHandling=how)
        return topic, 1
