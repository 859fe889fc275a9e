"""The current that a liquid carries out of a pipe or a filter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import pi
from types import MappingProxyType

import numpy as np

from analytics.core.electrostatics.bounds import Numeric, within


@dataclass(frozen=True, slots=True)
class Form:
    """One published form of ``I = k (v d)^2``.

    Attributes
    ----------
    coefficient : float
        The ``k`` of it. [A s2/m4]
    label : str
        As it is printed.
    source : str
        Where it is from, and how it is known.
    """

    coefficient: float
    label: str
    source: str


FORMS: Mapping[str, Form] = MappingProxyType(
    {
        "schon": Form(
            3.75e-6,
            "Schon: 3.75e-6 (v d)^2",
            "Schon's fit for long pipes, from memory",
        ),
        "iec_60079_32_1": Form(
            5e-6 * pi / 4,
            "IEC TS 60079-32-1: 5 uC/m3 for each m/s",
            "IEC TS 60079-32-1, charge density of 5 v uC/m3, from memory",
        ),
        "crowl_louvar": Form(
            1.0e-5,
            "Crowl and Louvar: 1.0e-5 (v d)^2",
            "Crowl and Louvar, Chemical Process Safety, 3rd edition on, from memory",
        ),
        "nfpa_77": Form(
            2.5e-5,
            "NFPA 77: 2.5e-5 (v d)^2",
            "NFPA 77, annex, from memory",
        ),
    }
)
"""By name, in rising order of the coefficient. Greatest and least are 6.7 times apart: what
liquid, pipe and flow they were found with differs, and none is right for all."""


def velocity_m_s(flow_L_min: Numeric, diameter_m: Numeric) -> Numeric:
    """Return the mean velocity in a full round pipe. [m/s]

    Parameters
    ----------
    flow_L_min : float or ndarray
        0 or more. [L/min]
    diameter_m : float or ndarray
        The bore, above 0. [m]

    Returns
    -------
    float or ndarray
        In the shape of both together; NaN for NaN. [m/s]

    Raises
    ------
    ValueError
        If a value is out of those bounds.
    """
    flow_m3_s = within("flow_L_min", flow_L_min, "L/min", at_least=0) / 60_000
    bore = within("diameter_m", diameter_m, "m", above=0)
    return flow_m3_s / (pi / 4 * bore**2)


def streaming_current_A(velocity_m_s: Numeric, diameter_m: Numeric, form: str) -> Numeric:
    """Return the current that a liquid carries out of a long metal pipe. [A]

    Parameters
    ----------
    velocity_m_s : float or ndarray
        Mean in the pipe, 0 or more. [m/s]
    diameter_m : float or ndarray
        The bore, above 0. [m]
    form : str
        A name of `FORMS`.

    Returns
    -------
    float or ndarray
        Its size, whatever its sign, in the shape of both together; NaN for NaN. [A]

    Raises
    ------
    ValueError
        If a value is out of those bounds, or there is no such form.

    Notes
    -----
    ``k (v d)^2``, for turbulent flow of one liquid of low conductivity in a pipe so long that
    charge leaves at the wall as fast as it comes; `charging_fraction` is for shorter ones. Water
    or solids in the liquid, lined or rough pipes and filters charge more. The forms were not found
    with conductive liquids. Gibson and Lloyd found exponents of about 2.4 for velocity and 1.6 for
    bore with toluene (from memory), so that no form holds over a wide range.

    References
    ----------
    .. [1] As each of `FORMS` says.
    """
    if form not in FORMS:
        raise ValueError(f"form must be one of {', '.join(FORMS)}, got {form!r}")
    speed = within("velocity_m_s", velocity_m_s, "m/s", at_least=0)
    bore = within("diameter_m", diameter_m, "m", above=0)
    return FORMS[form].coefficient * (speed * bore) ** 2


def charging_fraction(
    length_m: Numeric, velocity_m_s: Numeric, relaxation_time_s: Numeric
) -> Numeric:
    """Return which share of a long pipe's current one of this length gives. [-]

    Parameters
    ----------
    length_m : float or ndarray
        0 or more, infinite for a long pipe. [m]
    velocity_m_s : float or ndarray
        0 or more. [m/s]
    relaxation_time_s : float or ndarray
        Of the liquid, above 0; infinite for one that does not conduct at all. [s]

    Returns
    -------
    float or ndarray
        0 to 1, in the shape of all together; NaN for NaN. [-]

    Raises
    ------
    ValueError
        If a value is out of those bounds.

    Notes
    -----
    ``1 - exp(-L / (v tau))``: how far charging has come in the time that the liquid was in the
    pipe [1]_; 1 for a liquid at rest, which has had for ever. True for liquid that enters without
    charge: what a filter before the pipe gave it is left out, and `filter_current` has it.

    References
    ----------
    .. [1] Crowl and Louvar, Chemical Process Safety, from memory.
    """
    length = within("length_m", length_m, "m", at_least=0, infinite=True)
    speed = within("velocity_m_s", velocity_m_s, "m/s", at_least=0)
    tau = within("relaxation_time_s", relaxation_time_s, "s", above=0, infinite=True)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        passed = np.where(length == 0, 0 * speed, length / speed)
        return np.where(np.isinf(passed) & ~np.isnan(tau), 1.0, -np.expm1(-passed / tau))[()]


def filter_current(
    flow_m3_s: Numeric, charge_density_uC_m3: Numeric, remaining: Numeric
) -> Numeric:
    """Return the current that a liquid still carries from a filter. [A]

    Parameters
    ----------
    flow_m3_s : float or ndarray
        0 or more. [m3/s]
    charge_density_uC_m3 : float or ndarray
        Behind the filter, 0 or more: its size, whatever its sign. [uC/m3]
    remaining : float or ndarray
        The share that has not relaxed since, 0 to 1, as `relaxation.remaining_fraction` gives.

    Returns
    -------
    float or ndarray
        In the shape of all together; NaN for NaN. [A]

    Raises
    ------
    ValueError
        If a value is out of those bounds.

    Notes
    -----
    The charge behind a filter depends on filter and liquid, and may be a hundred times that of the
    pipe: there is no formula for it. Measure it, or ask the maker.
    """
    flow = within("flow_m3_s", flow_m3_s, "m3/s", at_least=0)
    density = within("charge_density_uC_m3", charge_density_uC_m3, "uC/m3", at_least=0)
    share = within("remaining", remaining, "", at_least=0, at_most=1)
    return flow * density * 1e-6 * share
