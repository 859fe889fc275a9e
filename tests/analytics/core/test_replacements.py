"""What was replaced, from what people write."""

from __future__ import annotations

import pytest

from analytics.core.replacements import Part, parts_replaced


@pytest.mark.parametrize(
    ("what", "expected"),
    [
        pytest.param("clamp replaced", "clamp", id="plain"),
        pytest.param("Replaced clamp", "clamp", id="verb-first"),
        pytest.param("CLAMP REPLACEMENT", "clamp", id="any-case"),
        pytest.param("replacing the clamps of both arms", "clamp", id="plural"),
        pytest.param("clamp replaced: spring worn", "clamp", id="reason-after"),
        pytest.param("clamp worn; replaced", "clamp", id="reason-before"),
        pytest.param("clamp no 2 replaced", "clamp", id="numbered"),
        pytest.param("fitter replaced clamp", "clamp", id="somebody-did"),
        pytest.param("replacement clip fitted", "clamp", id="clip"),
        pytest.param("clamp cable replaced", "cable", id="the-cable-of-a-clamp"),
        pytest.param("replaced clamp cable", "cable", id="the-cable-of-a-clamp-verb-first"),
        pytest.param("cable replaced at the clamp", "cable", id="where-it-was"),
        pytest.param("cord replaced", "cable", id="cord"),
        pytest.param("Cable reel replaced", "cable", id="reel"),
        pytest.param("clamp and cable replaced", "cable clamp", id="both"),
        pytest.param("clamp, cable replaced", "cable clamp", id="listed"),
        pytest.param("replaced clamp & cable", "cable clamp", id="both-verb-first"),
        pytest.param("clamp replaced, cable replaced", "cable clamp", id="each"),
        pytest.param("clamp checked, cable replaced", "cable", id="another-was-checked"),
        pytest.param("inspected clamp; cable replaced", "cable", id="another-sentence"),
        pytest.param("cable checked, relay replaced", "other", id="checked-then-other"),
        pytest.param("relay replaced, clamp checked", "other", id="other-then-checked"),
        pytest.param("clamp replaced, relay replaced", "clamp other", id="one-known-one-not"),
        pytest.param("Replaced: clamp, cable", "cable clamp", id="a-list-after-a-colon"),
        pytest.param("monitor module replaced", "other", id="other"),
        pytest.param("replaced", "other", id="nothing-named"),
        pytest.param("clamp inspected", "", id="no-replacement"),
        pytest.param("clamp contacts changed to another pattern", "", id="changed-is-not-replaced"),
        pytest.param("clamp not replaced", "", id="not"),
        pytest.param("clamp inspected, no replacement", "", id="none"),
        pytest.param("clamp to be replaced next week", "", id="planned"),
        pytest.param("cable needs replacing", "", id="needed"),
        pytest.param("cable needs replacing; clamp replaced", "clamp", id="needed-and-done"),
        pytest.param("", "", id="empty"),
    ],
)
def test_parts_replaced(what: str, expected: str) -> None:
    assert parts_replaced(what) == {Part(name) for name in expected.split()}
