"""What no estimate from a bond, a flow and a vessel can see. It belongs beside every figure."""

from __future__ import annotations

UNSEEN: tuple[str, ...] = (
    "A good bond at the clamp does not earth what is adrift inside the vessel: a loosely linked"
    " level float, a tape, a sample can, a tool that was left behind.",
    "In the public case study 2007-06-I-KS of the U.S. Chemical Safety Board (Valley Center,"
    " Kansas, 17 July 2007) the tank trailer was bonded and grounded; the float of a level gauge"
    " inside the tank was not, and sparked.",
    "Brush discharges from the surface of the liquid, or from a lining or coating, come from charge"
    " that never reaches the clamp, however low its resistance.",
    "Propagating brush discharges from linings and liners, and cone discharges from heaps of"
    " powder, are not estimated.",
    "People are conductors of their own, and what leads their charge away is their footwear and the"
    " floor, not the clamp.",
    "Splash filling and free fall charge a liquid far more than the pipe does.",
    "Sprays, mists and foam charge without a pipe, and can ignite below the flash point.",
    "Water, solids or a second liquid in the product charge it as they settle, even after flow has"
    " stopped.",
    "Conductors along the way that the monitor does not watch may be cut off: hose wires and"
    " couplings, nozzles, funnels, dip pipes, valves, flanges with insulating gaskets.",
    "A low resistance tells of the loop that was measured, and not of all that is metal.",
    "A powder that is poured into a vessel with solvent vapour, or is wet with solvent, makes a"
    " hybrid mixture: it may light at the ignition energy of the vapour, about a hundred times less"
    " than that of the dust, which is the one that a powder is compared with here.",
    "An ignition energy is that of the mixture that lights most easily; which mixture was there is"
    " not on record.",
)
"""A sentence each. A low figure beside them is no proof that nothing could have happened: the
estimate ranks and explains."""
