"""Colours and shapes. Grey is normal; what is abnormal has a colour, a shape and a word.

The colours are those of Okabe and Ito ("Color Universal Design", 2008), which readers with
any of the common colour-vision deficiencies can tell apart. Greys are half transparent, so
that one figure reads on a light and on a dark page; text takes the page's colour by style sheet.
"""

from __future__ import annotations

from collections.abc import Mapping

from bondtrail.results import Severity

VERMILLION = "#D55E00"
ORANGE = "#E69F00"
SKY_BLUE = "#56B4E9"

LINE = "#7D8790"
"""Neutral line: at least 3.5 to 1 on both pages."""
LIMIT = "#8A6FB0"
TYPICAL = "#2F9C95"
"""What is laid over for comparison: neither normal grey nor a severity."""
TYPICAL_WASH = "rgba(47,156,149,0.22)"
FAINT = "rgba(128,128,128,0.28)"
GRID = "rgba(128,128,128,0.22)"
NOTHING = "rgba(0,0,0,0)"

SEVERITY_COLOUR: Mapping[Severity, str] = {
    Severity.CRITICAL: VERMILLION,
    Severity.MAJOR: ORANGE,
    Severity.MINOR: SKY_BLUE,
}
SEVERITY_SHAPE: Mapping[Severity, str] = {
    Severity.CRITICAL: "diamond",
    Severity.MAJOR: "triangle-up",
    Severity.MINOR: "circle",
}
"""Names of plotly symbols."""
SEVERITY_SIGN: Mapping[Severity, str] = {
    Severity.CRITICAL: "◆",
    Severity.MAJOR: "▲",
    Severity.MINOR: "●",
}
