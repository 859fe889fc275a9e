"""Parts of one process: told to stop together, and one that ends by itself ends all."""

from __future__ import annotations

import threading

import click
import pytest

from bondtrail.cli import parts as module
from bondtrail.cli.faults import Fault
from bondtrail.cli.parts import Part, end_of, run_together
from store import NotAStoreError


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


def died(failure: Exception | None) -> Part:
    return Part("the listener", lambda stop: None, failure)


@pytest.mark.parametrize(
    "failure",
    [
        pytest.param(None, id="it-returned"),
        pytest.param(KeyError("defect"), id="a-defect"),
        pytest.param(OSError(5, "Input/output error"), id="the-machine"),
    ],
)
def test_a_part_that_ends_by_itself_is_named_and_the_status_is_1(
    failure: Exception | None, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(click.exceptions.Exit) as found:
        end_of(died(failure))
    assert found.value.exit_code == 1
    told = capsys.readouterr().err
    assert told.startswith("bondtrail: the listener ended by itself")
    assert (type(failure).__name__ in told) is (failure is not None)


@pytest.mark.parametrize("failure", [Fault("wrong"), NotAStoreError("x", "wrong")])
def test_what_a_person_must_mend_is_told_as_ever(failure: Exception) -> None:
    with pytest.raises(Fault, match="wrong"):
        end_of(died(failure))


def test_a_good_end_says_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    end_of(None)
    assert capsys.readouterr().err == ""
