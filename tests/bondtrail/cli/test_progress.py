from __future__ import annotations

import sys

import pytest

from bondtrail.cli.progress import shown_progress


def test_nothing_is_drawn_where_no_person_watches(capsys: pytest.CaptureFixture[str]) -> None:
    with shown_progress() as step:
        assert step is None
    assert capsys.readouterr() == ("", "")


@pytest.mark.parametrize(
    ("in_bytes", "drawn"), [(False, "3/4"), (True, "3/4 bytes")], ids=["things", "bytes"]
)
def test_a_terminal_sees_what_is_done_of_how_much(
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    in_bytes: bool,
    drawn: str,
) -> None:
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    monkeypatch.setenv("TERM", "xterm")
    with shown_progress(in_bytes=in_bytes) as step:
        assert step is not None
        step(1, None, "\x07first.csv [bold]")  # of how much, nobody knows yet
        step(3, 4, "\x07second.csv [bold]")
    out, err = capsys.readouterr()
    assert out == ""
    assert "second.csv [bold]" in err
    assert "\x07" not in err
    assert drawn in err
