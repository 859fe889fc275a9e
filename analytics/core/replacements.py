"""What of a station was replaced, read from the words of the work log."""

from __future__ import annotations

import re
from collections.abc import Sequence
from enum import StrEnum


class Part(StrEnum):
    """What wears out at a station and is replaced."""

    CLAMP = "clamp"
    CABLE = "cable"
    OTHER = "other"


_NOUNS = {
    **dict.fromkeys(("clamp", "clamps", "clip", "clips"), Part.CLAMP),
    **dict.fromkeys(("cable", "cables", "cord", "cords", "reel", "reels"), Part.CABLE),
}
_JOINS = frozenset(("and", "&", "+", "/", ",", "the", "its", "both", "with"))
_ENDS = frozenset((",", ";"))
_NOT_DONE = re.compile(
    r"\bno\s+replac\w*"
    r"|\b(?:not|never|without|to be|should be|must be|will be|needs?|due for)"
    r"\s+(?:\w+\s+)?replac\w*"
)
_STOPS = str.maketrans(":.()", ";;;;")
_WORD = re.compile(r"[^\W_]+|[&+/,;]")


def parts_replaced(what: str) -> frozenset[Part]:
    """Return what a line of the work log says was replaced; empty if nothing was.

    Parameters
    ----------
    what : str
        In words of a person. It counts if it holds a form of "replace", in any case, other than
        "not replaced", "to be replaced" and the like.

    Notes
    -----
    The part is the noun before "replaced", else the one after it, up to a comma or stop: clamp or
    clip; cable, cord or reel. Of "clamp cable" it is the cable; "clamp and cable" are both.
    Anything else is `Part.OTHER`.
    """
    words = _WORD.findall(_NOT_DONE.sub(" ", what.lower()).translate(_STOPS))
    at = [n for n, word in enumerate(words) if word.startswith("replac")]
    found: set[Part] = set()
    for n, start, end in zip(at, [-1, *at], [*at[1:], len(words)], strict=False):
        before, after = words[start + 1 : n], words[n + 1 : end]
        named = _listed(_past_stop(_heads(before)[::-1]))
        if not named:
            # "Relay replaced, clamp checked" names no part; "replaced: clamp" does.
            named = _listed(_heads(after) if before else _past_stop(_heads(after)))
        found |= named or {Part.OTHER}
    return frozenset(found)


def _past_stop(words: Sequence[str]) -> Sequence[str]:
    return words[1:] if words and words[0] in _ENDS else words


def _heads(words: Sequence[str]) -> list[str]:
    """Return the words with a noun before another left out: the clamp of a clamp cable."""
    following = [*words[1:], ""]
    return [
        word
        for word, after in zip(words, following, strict=False)
        if not (word in _NOUNS and after in _NOUNS)
    ]


def _listed(words: Sequence[str]) -> set[Part]:
    """Return the first part before any comma or stop, and those it is listed with."""
    found: set[Part] = set()
    for word in words:
        if word in _NOUNS:
            found.add(_NOUNS[word])
        elif (word not in _JOINS) if found else (word in _ENDS):
            break
    return found
