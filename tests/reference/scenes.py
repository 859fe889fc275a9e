"""Small stories that happen at a station, each a list of rows that hold for a while.

A row says what changes: ``clamp``, ``flow``, ``permissive``, ``bypass`` and ``running`` stay as
they are until a later row says otherwise; ``status``, ``gap`` (no samples of a point), ``bad`` and
``uncertain`` (their quality) hold for that row alone. ``a|b`` is one or the other.
"""

from __future__ import annotations

CLAMPS = {
    # limit 10 ohm, open 1000 ohm, marginal factor 1.5: the exact limits are among them
    "low": (2.0,),
    "limit": (10.0,),
    "over": (10.5,),
    "marginal": (15.0,),
    "high": (400.0,),
    "nearly": (999.0,),
    "off": (1000.0,),
    "open": (float("inf"),),
    "layer": (300.0, 310.0, 305.0, 299.0),
    "steep": (20.0, 16.0, 10.5),
    "unsteady": (20.0, 900.0, 30.0, 700.0, 25.0, float("inf")),
    "falling": tuple(max(round(900.0 * 0.8**n, 3), 25.0) for n in range(1200)),
}
"""What a clamp reads, step by step from when it went there; a pattern starts over at its end."""

SCENES: dict[str, list[str]] = {
    "idle": ["clamp=open flow=off permissive=0 bypass=0"],
    "clamp on": ["clamp=low|over|high flow=off", "clamp=low|limit permissive=1"],
    "good transfer": [
        "clamp=low permissive=1 flow=off",
        "flow=on",
        "flow=off",
        "permissive=0",
        "clamp=open",
    ],
    "flow": ["clamp=low flow=on permissive=1"],
    "flow stops": ["flow=off|slow"],
    "pause": ["flow=off", "flow=on"],
    "pause unclamped": ["flow=off", "clamp=open permissive=0", "clamp=low permissive=1", "flow=on"],
    "flow goes unknown": ["flow=on", "gap=flow", "flow=on"],
    "flow bad": ["flow=on", "bad=flow", "flow=on|off"],
    "flow stops over a gap in the bond": ["flow=on", "gap=resistance flow=off", "flow=on"],
    "clamp falls off in flow": [
        "clamp=low permissive=1 flow=on",
        "clamp=open|off",
        "permissive=0",
        "flow=off",
        "clamp=open|low",
    ],
    "clamp drifts off in flow": [
        "clamp=low permissive=1 flow=on",
        "clamp=high|over|marginal|nearly|steep",
        "permissive=0",
        "flow=off",
        "clamp=low",
    ],
    "loss is over before the stop": [
        "clamp=low permissive=1 flow=on",
        "clamp=open|high|over permissive=1",
        "clamp=low permissive=0",
        "flow=off",
        "permissive=1",
    ],
    "permissive opens first": [
        "clamp=low permissive=1 flow=on",
        "permissive=0",
        "clamp=open|high|low",
        "flow=off",
    ],
    "stop for no reason": ["clamp=low permissive=1 flow=on", "permissive=0", "flow=off"],
    "stop by a fault": [
        "clamp=low permissive=1 flow=on",
        "status=2 permissive=1|0",
        "permissive=0",
        "flow=off",
    ],
    "stop in bad data": [
        "clamp=low permissive=1 flow=on",
        "bad=resistance|status",
        "permissive=0",
        "flow=off bad=resistance|status",
    ],
    "stop in the dark": [
        "clamp=low permissive=1 flow=on",
        "gap=resistance|status|both",
        "permissive=0 gap=resistance|status|both",
        "flow=off gap=resistance|status|both",
    ],
    "stops at once": ["clamp=low permissive=1 flow=on", "clamp=open permissive=0 flow=off"],
    "flow restarts unbonded": [
        "clamp=low flow=on",
        "clamp=open|high",
        "flow=off",
        "flow=on",
        "clamp=low",
    ],
    "unbonded flow": ["clamp=open|high|over permissive=0|1 flow=on", "clamp=open", "flow=off"],
    "late clamp": ["clamp=open|high flow=on permissive=1", "clamp=low", "flow=off"],
    "bonded as flow begins": ["clamp=open flow=off", "clamp=low flow=on permissive=1"],
    "lost as flow begins": ["clamp=low flow=off", "clamp=open|high flow=on"],
    "bypass key in": ["bypass=1", "flow=on", "clamp=open|low bypass=1|0"],
    "bypass key out": ["bypass=0"],
    "bypass goes unknown": ["bypass=0|1", "gap=bypass", "bypass=1"],
    "flutter": ["clamp=low", "clamp=high|open|over"] * 3,
    "flutter in flow": ["flow=on clamp=low", "clamp=high|open"] * 4,
    "touch": ["clamp=open", "clamp=over|high|low", "clamp=open"],
    "failed hookup": [
        "clamp=open permissive=0 flow=off|on",
        "clamp=layer|falling|unsteady|marginal|steep|nearly",
        "clamp=layer|falling|unsteady|high",
        "clamp=open flow=off",
    ],
    "hookup of one kind": [
        "clamp=open permissive=0 flow=off|on",
        "clamp=falling|unsteady|layer|marginal flow=off|on",
        "clamp=open",
        "clamp=open flow=off",
    ],
    "hookup lost from sight": ["clamp=low|layer", "gap=resistance|both", "clamp=open|low"],
    "short open, then dark": ["clamp=low", "clamp=open", "gap=resistance|both", "clamp=open|low"],
    "withheld": ["clamp=low permissive=0 flow=off"],
    "permissive closed by hand": ["clamp=open|high permissive=1"],
    "permissive goes unknown": ["permissive=1", "gap=permissive", "permissive=0"],
    "early off": ["clamp=low permissive=1 flow=on", "flow=off", "clamp=open"],
    "early off in the dark": ["clamp=low flow=on", "flow=off", "gap=resistance", "clamp=open"],
    "dark": ["gap=all"],
    "flow in the dark": [
        "clamp=low flow=on",
        "gap=both",
        "gap=resistance|both|status",
        "clamp=low",
    ],
    "doubtful": ["uncertain=all"],
    "everything bad": ["bad=all"],
    "off duty": ["status=3"],
    "status fault": ["status=2"],
    "running idle": ["running=1"],
    "stopped": ["running=0 flow=off"],
}

THEMES: dict[str, list[str]] = {
    "anything": list(SCENES),
    "stops": [
        "clamp falls off in flow",
        "clamp drifts off in flow",
        "loss is over before the stop",
        "permissive opens first",
        "stop for no reason",
        "stop by a fault",
        "stop in bad data",
        "stop in the dark",
        "stops at once",
        "good transfer",
        "flow restarts unbonded",
        "pause unclamped",
    ],
    "hookups": [
        "hookup of one kind",
        "failed hookup",
        "touch",
        "hookup lost from sight",
        "short open, then dark",
        "early off",
        "early off in the dark",
        "clamp on",
        "good transfer",
        "bypass key in",
        "bypass key out",
        "flow",
    ],
}
"""Scenes that go together: what needs many things to coincide would else be rare."""
