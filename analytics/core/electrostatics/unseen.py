"""What no estimate from a bond, a flow and a vessel can see. It belongs beside every figure."""

from __future__ import annotations

UNSEEN: tuple[str, ...] = (
    "Parts inside the vessel that touch nothing earthed: a good bond at the clamp does not earth"
    " them. In the public case study 2007-06-I-KS of the U.S. Chemical Safety Board (Valley Center,"
    " Kansas, 17 July 2007) the tank trailer was bonded and grounded, and the loosely linked float"
    " of a level gauge inside the tank sparked. Ask what is adrift: floats, tapes, cups, tools,"
    " cans.",
    "Brush discharges from the surface of the liquid, or from a lining or coating: charge there"
    " does not flow to the clamp, however low its resistance.",
    "Propagating brush and cone discharges from powder, liners and heaps.",
    "People: whoever stands at the vessel is a conductor of their own, with footwear and floor of"
    " their own.",
    "Splash filling and free fall, which charge far more than the pipe does.",
    "Sprays, mists and foam: they charge without a pipe, and ignite below the flash point.",
    "Water, solids or a second liquid in the product, which charge as they settle, also after flow"
    " has stopped.",
    "Conductors along the way that the monitor does not watch: hose wires and couplings, nozzles,"
    " funnels, dip pipes, valves, flanges with insulating gaskets.",
    "Whether the vapour or dust could burn at that moment: no ignition energy tells of the mixture"
    " that was there.",
    "Where the clamp sat: a low resistance tells of the loop that was measured, not of all that is"
    " metal.",
)
"""One sentence or two each. A low figure beside them is no proof that nothing could have happened:
the estimate ranks and explains."""
