"""Charge and energy on a vessel, and the potential at which they suffice for ignition."""

from __future__ import annotations

import numpy as np

from analytics.core.electrostatics.bounds import Numeric, within


def stored_energy_mJ(capacitance_pF: Numeric, potential_V: Numeric) -> Numeric:
    """Return the energy that a charged conductor can give in one spark. [mJ]

    Parameters
    ----------
    capacitance_pF : float or ndarray
        Above 0. [pF]
    potential_V : float or ndarray
        Of either sign. [V]

    Returns
    -------
    float or ndarray
        ``C V^2 / 2``, never negative, in the shape of both together; NaN for NaN. [mJ]

    Raises
    ------
    ValueError
        If a value is out of those bounds, or infinite.

    Notes
    -----
    For a spark from metal, which gives all of it at once. Brush discharges from a liquid or a
    lining are another matter, and their energy does not follow from any capacitance.
    """
    farad = within("capacitance_pF", capacitance_pF, "pF", above=0) * 1e-12
    volt = within("potential_V", potential_V, "V")
    return 0.5e3 * farad * volt**2


def potential_for_energy_V(energy_mJ: Numeric, capacitance_pF: Numeric) -> Numeric:
    """Return the potential at which a conductor holds an energy. [V]

    Parameters
    ----------
    energy_mJ : float or ndarray
        0 or more, such as a minimum ignition energy. [mJ]
    capacitance_pF : float or ndarray
        Above 0. [pF]

    Returns
    -------
    float or ndarray
        ``sqrt(2 W / C)``, in the shape of both together; NaN for NaN. [V]

    Raises
    ------
    ValueError
        If a value is out of those bounds, or infinite.
    """
    joule = within("energy_mJ", energy_mJ, "mJ", at_least=0) * 1e-3
    farad = within("capacitance_pF", capacitance_pF, "pF", above=0) * 1e-12
    return np.sqrt(2 * joule / farad)


def charge_uC(capacitance_pF: Numeric, potential_V: Numeric) -> Numeric:
    """Return the charge of a conductor. [uC]

    Parameters
    ----------
    capacitance_pF : float or ndarray
        Above 0. [pF]
    potential_V : float or ndarray
        Of either sign, as the charge then is. [V]

    Returns
    -------
    float or ndarray
        ``C V``, in the shape of both together; NaN for NaN. [uC]

    Raises
    ------
    ValueError
        If a value is out of those bounds, or infinite.
    """
    pico = within("capacitance_pF", capacitance_pF, "pF", above=0)
    return pico * within("potential_V", potential_V, "V") * 1e-6
