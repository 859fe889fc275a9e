"""Parts of one process: told to stop together, and one that ends by itself ends all."""

from __future__ import annotations

import threading

import pytest

from bondtrail.cli import parts as module
from bondtrail.cli.parts import Part, run_together


def staying(told: list[str], name: str) -> Part:
    def work(stop: threading.Event) -> None:
        stop.wait(60)
        told.append(name)

    return Part(name, work)


def test_all_are_told_to_stop() -> None:
    told: list[str] = []
    stop = threading.Event()
    threading.Timer(0.05, stop.set).start()
    parts = [staying(told, "a"), staying(told, "b")]
    assert run_together(parts, stop) is None
    assert sorted(told) == ["a", "b"]
    assert [part.alive() for part in parts] == ["it has ended", "it has ended"]


def test_one_that_returns_ends_all() -> None:
    told: list[str] = []
    ending = Part("brief", lambda stop: None)
    assert run_together([staying(told, "a"), ending], threading.Event()) is ending
    assert ending.failure is None
    assert told == ["a"]


def test_one_that_breaks_ends_all_and_says_why() -> None:
    told: list[str] = []

    def work(stop: threading.Event) -> None:
        raise KeyError("a defect")

    broken = Part("broken", work)
    assert run_together([broken, staying(told, "a")], threading.Event()) is broken
    assert isinstance(broken.failure, KeyError)
    assert told == ["a"]


def test_one_that_does_not_end_is_left(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(module, "STOP_S", 0.05)
    release, stop = threading.Event(), threading.Event()
    stop.set()
    try:
        assert run_together([Part("stuck", lambda _: release.wait(60) and None)], stop) is None
    finally:
        release.set()
    assert "stuck does not end" in caplog.text


def test_a_part_that_has_not_begun_is_not_called_ended() -> None:
    assert Part("later", lambda stop: None).alive() is None
