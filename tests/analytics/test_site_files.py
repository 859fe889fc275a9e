"""The site files of a store are parsed once, however many it holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import pytest

from analytics import site_files
from analytics.site_files import MOST_OTHERS, stored_sites
from bondtrail.site import Site, SiteError, parse_site
from tests.analytics.workdays import site


@dataclass
class Files:
    """Site files as a store has them."""

    texts: Sequence[str]

    def sites(self) -> Sequence[tuple[int, str]]:
        return list(enumerate(self.texts))


@dataclass
class Parsed:
    """What was parsed, in order."""

    texts: list[str] = field(default_factory=list)

    def __call__(self, text: str, source: str) -> Site:
        self.texts.append(text)
        return parse_site(text, source)


@pytest.fixture
def parsed(monkeypatch: pytest.MonkeyPatch) -> Parsed:
    seen = Parsed()
    monkeypatch.setattr(site_files, "parse_site", seen)
    monkeypatch.setattr(site_files, "_known", {})
    return seen


def versions(name: str, count: int) -> list[str]:
    return [site("spot", name=f"{name} {number}").text for number in range(count)]


@pytest.mark.parametrize("count", [0, 1, 16, 17, 60])
def test_each_version_is_parsed_once(parsed: Parsed, count: int) -> None:
    texts = versions("Spot", count)
    for _ in range(3):
        found = stored_sites(Files(texts))
        assert [(since, each.text) for since, each in found] == list(enumerate(texts))
    assert parsed.texts == texts


def test_a_version_that_holds_again_is_parsed_once(parsed: Parsed) -> None:
    one, other = versions("Spot", 2)
    assert [each.text for _, each in stored_sites(Files([one, other, one]))] == [one, other, one]
    assert parsed.texts == [one, other]


def test_of_other_stores_few_are_kept(parsed: Parsed) -> None:
    first, second = versions("First", MOST_OTHERS + 9), versions("Second", MOST_OTHERS + 9)
    stored_sites(Files(first))
    stored_sites(Files(second))
    assert len(site_files._known) == len(second) + MOST_OTHERS
    parsed.texts.clear()
    stored_sites(Files(second))
    assert parsed.texts == []


def test_one_that_cannot_be_read_harms_no_other(parsed: Parsed) -> None:
    [sound] = versions("Spot", 1)
    for _ in range(2):
        with pytest.raises(SiteError, match="stored site file"):
            stored_sites(Files([sound, "schema = 1\n"]))
    stored_sites(Files([sound]))
    assert parsed.texts.count(sound) == 1
