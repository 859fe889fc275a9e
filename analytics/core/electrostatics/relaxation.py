"""How fast charge leaves a liquid: by Ohm's law, and by the faster one of poor conductors."""

from __future__ import annotations

import numpy as np

from analytics.core.electrostatics.bounds import Numeric, within

VACUUM_PERMITTIVITY_F_M = 8.8541878188e-12
"""CODATA 2022."""

ION_MOBILITY_M2_VS = 1e-8
"""Of ions in hydrocarbons, from memory after Bustin and others (1964)."""

EFFECTIVE_AT_LEAST_PS_M = 2.0
"""Below about this, real decay is much faster than by Ohm's law: AIChE CCPS, Process Safety
Glossary, "Effective Conductivity", from memory. That charge builds up as if the liquid conducted no
worse than this is our own choice. [pS/m]"""

SLOWER_BEHIND_FILTER = 4.0
"""So many times longer may relaxation take behind a microfilter: the greater of the 3 to 4 of the
same entry, from memory."""


def relaxation_time(conductivity_pS_m: Numeric, relative_permittivity: Numeric) -> Numeric:
    """Return the Ohmic relaxation time of a liquid. [s]

    Parameters
    ----------
    conductivity_pS_m : float or ndarray
        At rest, above 0. [pS/m]
    relative_permittivity : float or ndarray
        To that of vacuum, 1 or more; broadcasts with the conductivity. [-]

    Returns
    -------
    float or ndarray
        Time in which charge falls to 1/e, in the shape of both together; NaN for NaN. [s]

    Raises
    ------
    ValueError
        If a value is out of those bounds.

    Notes
    -----
    ``tau = eps_0 eps_r / kappa``, about ``18 / kappa`` for hydrocarbons. Below about 2 pS/m real
    decay is much faster (`remaining_fraction_hyperbolic`); above it, after a microfilter, it is
    often 3 to 4 times slower [1]_.

    References
    ----------
    .. [1] AIChE CCPS, Process Safety Glossary, entry "Effective Conductivity".
    """
    kappa = within("conductivity_pS_m", conductivity_pS_m, "pS/m", above=0)
    eps_r = within("relative_permittivity", relative_permittivity, "", at_least=1)
    with np.errstate(over="ignore"):  # next to no conductivity: infinite
        return VACUUM_PERMITTIVITY_F_M * 1e12 * eps_r / kappa


def fastest_relaxation_time(conductivity_pS_m: Numeric, relative_permittivity: Numeric) -> Numeric:
    """Return a relaxation time that real charge hardly undercuts, however poor the liquid. [s]

    Parameters
    ----------
    conductivity_pS_m : float or ndarray
        At rest, above 0. [pS/m]
    relative_permittivity : float or ndarray
        To that of vacuum, 1 or more; broadcasts with the conductivity. [-]

    Returns
    -------
    float or ndarray
        That of Ohm's law, but no longer than at `EFFECTIVE_AT_LEAST_PS_M`; NaN for NaN. [s]

    Raises
    ------
    ValueError
        If a value is out of those bounds.

    Notes
    -----
    What lets charge go faster lets it build up faster: by Ohm's law alone a short pipe would give
    next to nothing of a liquid that hardly conducts, and the worst that fits would be missed.
    """
    kappa = within("conductivity_pS_m", conductivity_pS_m, "pS/m", above=0)
    return relaxation_time(np.maximum(kappa, EFFECTIVE_AT_LEAST_PS_M), relative_permittivity)


def remaining_fraction(elapsed_s: Numeric, relaxation_time_s: Numeric) -> Numeric:
    """Return which share of the charge is left after a time at rest. [-]

    Parameters
    ----------
    elapsed_s : float or ndarray
        0 or more. [s]
    relaxation_time_s : float or ndarray
        Above 0; infinite for a liquid that does not conduct at all. [s]

    Returns
    -------
    float or ndarray
        0 to 1, in the shape of both together; NaN for NaN. [-]

    Raises
    ------
    ValueError
        If a value is out of those bounds.

    Notes
    -----
    ``exp(-t / tau)``: Ohm's law alone. It holds where the conductivity is that of the liquid at
    rest, above about 1 pS/m.
    """
    elapsed = within("elapsed_s", elapsed_s, "s", at_least=0)
    tau = within("relaxation_time_s", relaxation_time_s, "s", above=0, infinite=True)
    return np.exp(-elapsed / tau)


def time_to_fraction(fraction: Numeric, relaxation_time_s: Numeric) -> Numeric:
    """Return how long charge takes to fall to a share of itself. [s]

    Parameters
    ----------
    fraction : float or ndarray
        Above 0 and at most 1. [-]
    relaxation_time_s : float or ndarray
        Above 0; infinite for a liquid that does not conduct at all. [s]

    Returns
    -------
    float or ndarray
        ``-tau ln(fraction)``, in the shape of both together; NaN for NaN. [s]

    Raises
    ------
    ValueError
        If a value is out of those bounds.

    Notes
    -----
    The inverse of `remaining_fraction`, true where that is.
    """
    share = within("fraction", fraction, "", above=0, at_most=1)
    tau = within("relaxation_time_s", relaxation_time_s, "s", above=0, infinite=True)
    with np.errstate(invalid="ignore"):  # for ever, times none at all
        return np.where((share == 1) & np.isinf(tau), 0.0, tau * np.abs(np.log(share)))[()]


def remaining_fraction_hyperbolic(
    elapsed_s: Numeric,
    charge_density_uC_m3: Numeric,
    relative_permittivity: Numeric,
    mobility_m2_Vs: Numeric = ION_MOBILITY_M2_VS,
) -> Numeric:
    """Return which share of the charge is left in a liquid of very low conductivity. [-]

    Parameters
    ----------
    elapsed_s : float or ndarray
        0 or more. [s]
    charge_density_uC_m3 : float or ndarray
        At the start, 0 or more: its size, whatever its sign. [uC/m3]
    relative_permittivity : float or ndarray
        1 or more. [-]
    mobility_m2_Vs : float or ndarray
        Of the ions, above 0. [m2/(V s)]

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
    ``1 / (1 + mu rho_0 t / (eps_0 eps_r))``: the charge drives itself out by its own field
    [1]_. For less than about 1 pS/m; above it Ohm's law is the faster, and holds.

    References
    ----------
    .. [1] W. M. Bustin and others (1964), on charge relaxation in hydrocarbons: from memory, as
       is the mobility.
    """
    elapsed = within("elapsed_s", elapsed_s, "s", at_least=0)
    rho = within("charge_density_uC_m3", charge_density_uC_m3, "uC/m3", at_least=0) * 1e-6
    eps_r = within("relative_permittivity", relative_permittivity, "", at_least=1)
    mobility = within("mobility_m2_Vs", mobility_m2_Vs, "m2/(V s)", above=0)
    return 1 / (1 + mobility * rho * elapsed / (VACUUM_PERMITTIVITY_F_M * eps_r))
