"""Electrostatic properties of common liquids, gases and dusts, with the source of each value.

A product's own data sheet or test goes before any of these: traces of water, an additive or another
grain size move conductivity and ignition energy by orders of magnitude.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from analytics.core.electrostatics.spread import Spread


@dataclass(frozen=True, slots=True)
class Substance:
    """What is published of a substance; None where nothing is, or nothing that can be trusted.

    Attributes
    ----------
    name : str
        As the trade calls it.
    phase : {"liquid", "gas", "powder"}
        In which it is handled.
    conductivity_pS_m : Spread or None
        Of the liquid at rest. [pS/m]
    relative_permittivity : Spread or None
        Of the liquid, to that of vacuum. [-]
    mie_mJ : Spread or None
        Minimum ignition energy of its vapour, gas or dust cloud in air. [mJ]
    synonyms : tuple of str
        Other names that `find` knows it by.
    """

    name: str
    phase: Literal["liquid", "gas", "powder"]
    conductivity_pS_m: Spread | None = None
    relative_permittivity: Spread | None = None
    mie_mJ: Spread | None = None
    synonyms: tuple[str, ...] = ()


EASILY_MOVED_BELOW_PS_M = 50.0
"""Below this, traces of water or an additive move a conductivity by orders of magnitude: where NFPA
77 draws its line of low conductivity, and our own choice here. [pS/m]"""

_LANGE = "Lange's handbook, as compiled in the open library thermo 0.6.1"
_CRC = "CRC handbook at 293 K, as compiled in the open library thermo 0.6.1"
_CRC_RECALLED = "CRC handbook at 293 K, from memory"
_RECALLED = "from memory: check before relying on it"
_FIRE_PAGES = "University of Washington vehicle fire pages, after NFPA 921"
_DUSTS = "a public list of dust clouds: a dust's own test is what counts"


def _conductivity(value: float, source: str = _LANGE) -> Spread:
    """Return a conductivity; where it is low, with a decade either way for what is not pure."""
    if value >= EASILY_MOVED_BELOW_PS_M:
        return Spread.of(value, "pS/m", source)
    within = f"{source}; a decade either way for traces of anything else: our own choice"
    return Spread(value / 10, value, value * 10, "pS/m", within)


def _permittivity(value: float, source: str = _CRC) -> Spread:
    return Spread.of(value, "", source)


def _mie(value: float, source: str = _RECALLED) -> Spread:
    return Spread.of(value, "mJ", source)


_LIQUIDS = (
    Substance(
        "toluene",
        "liquid",
        _conductivity(1),
        _permittivity(2.3866),
        _mie(0.24),
        ("methylbenzene", "toluol"),
    ),
    Substance(
        "methanol",
        "liquid",
        _conductivity(4.4e7),
        _permittivity(33.43),
        _mie(0.14),
        ("methyl alcohol", "MeOH"),
    ),
    Substance(
        "ethanol",
        "liquid",
        _conductivity(1.35e5),
        _permittivity(25.45),
        None,
        ("ethyl alcohol", "EtOH"),
    ),
    Substance(
        "isopropanol",
        "liquid",
        _conductivity(3.5e8),
        _permittivity(20.07),
        _mie(0.65),
        ("isopropyl alcohol", "2-propanol", "propan-2-ol", "IPA"),
    ),
    Substance(
        "acetone",
        "liquid",
        _conductivity(6e6),
        _permittivity(21.06),
        _mie(1.15),
        ("propanone", "2-propanone", "propan-2-one", "dimethyl ketone"),
    ),
    Substance(
        "methyl ethyl ketone",
        "liquid",
        _conductivity(1e7),
        _permittivity(18.60),
        _mie(0.53),
        ("MEK", "butanone", "2-butanone", "butan-2-one"),
    ),
    Substance(
        "ethyl acetate",
        "liquid",
        _conductivity(1e5),
        _permittivity(6.091),
        _mie(0.46),
        ("ethyl ethanoate", "acetic acid ethyl ester", "EtOAc"),
    ),
    Substance(
        "diethyl ether",
        "liquid",
        _conductivity(40),
        _permittivity(4.303),
        _mie(0.19),
        ("ether", "ethyl ether", "ethoxyethane"),
    ),
    Substance(
        "carbon disulfide",
        "liquid",
        _conductivity(7.8e-4),
        _permittivity(2.614),
        _mie(0.009),
        ("carbon disulphide", "carbon bisulfide", "carbon bisulphide", "CS2"),
    ),
    Substance(
        "benzene",
        "liquid",
        None,  # the value that open compilations give is many orders too high
        _permittivity(2.28, _CRC_RECALLED),
        _mie(0.20),
        ("benzol",),
    ),
    Substance(
        "cyclohexane",
        "liquid",
        None,
        _permittivity(2.02, _CRC_RECALLED),
        _mie(0.22),
        ("hexahydrobenzene",),
    ),
    Substance(
        "hexane",
        "liquid",
        None,  # compiled values make a relaxation time of days, which no real drum has
        _permittivity(1.89, _CRC_RECALLED),
        _mie(0.24),
        ("n-hexane",),
    ),
    Substance(
        "heptane",
        "liquid",
        None,
        _permittivity(1.92, _CRC_RECALLED),
        _mie(0.24),
        ("n-heptane",),
    ),
    Substance(
        "VM&P naphtha",
        "liquid",
        _conductivity(3, "an article on U.S. CSB case study 2007-06-I-KS"),
        _permittivity(2, "our assumption: as hydrocarbons of its kind"),
        _mie(0.25, "screening value for vapours of group IIA, such as propane"),
        ("VMP naphtha", "varnish makers' and painters' naphtha"),
    ),
)

_GASES = (
    Substance(
        "hydrogen",
        "gas",
        mie_mJ=Spread(
            0.016,
            0.019,
            0.02,
            "mJ",
            f"0.019 by {_FIRE_PAGES}, the usual one; 0.016 by NFPA 77 and 0.017 by ISO 15916, from"
            " memory; 0.02 where it is rounded",
        ),
        synonyms=("H2",),
    ),
    Substance(
        "methane",
        "gas",
        mie_mJ=Spread(
            0.21,
            0.21,
            0.28,
            "mJ",
            f"0.28 by {_FIRE_PAGES}; 0.21 by NFPA 77, from memory; the usual one is our choice: of"
            " two, the lesser is the cautious one",
        ),
        synonyms=("CH4",),
    ),
    Substance("propane", "gas", mie_mJ=_mie(0.25, _FIRE_PAGES), synonyms=("C3H8",)),
    Substance("acetylene", "gas", mie_mJ=_mie(0.017), synonyms=("ethyne", "C2H2")),
    Substance("ethylene", "gas", mie_mJ=_mie(0.07), synonyms=("ethene", "C2H4")),
    Substance("ethylene oxide", "gas", mie_mJ=_mie(0.06), synonyms=("oxirane", "EtO")),
)

_POWDERS = (
    Substance("polyethylene", "powder", mie_mJ=_mie(10, _DUSTS), synonyms=("polythene",)),
    Substance("polystyrene", "powder", mie_mJ=_mie(15, _DUSTS)),
    Substance("aluminium", "powder", mie_mJ=_mie(15, _DUSTS), synonyms=("aluminum",)),
    Substance("nylon", "powder", mie_mJ=_mie(20, _DUSTS)),
    Substance("sugar", "powder", mie_mJ=_mie(35, _DUSTS), synonyms=("sucrose",)),
    Substance("wood flour", "powder", mie_mJ=_mie(40, _DUSTS)),
    Substance("wheat flour", "powder", mie_mJ=_mie(50, _DUSTS), synonyms=("flour",)),
    Substance("grain", "powder", mie_mJ=_mie(55, _DUSTS), synonyms=("grain dust",)),
    Substance("coal", "powder", mie_mJ=_mie(55, _DUSTS), synonyms=("coal dust",)),
    Substance("coffee", "powder", mie_mJ=_mie(85, _DUSTS)),
)

SUBSTANCES: Mapping[str, Substance] = MappingProxyType(
    {substance.name: substance for substance in (*_LIQUIDS, *_GASES, *_POWDERS)}
)
"""By name."""

_APART = re.compile(r"[\s_'\u2019\u2010-\u2013-]+")


def _key(name: str) -> str:
    return _APART.sub("", name.casefold())


_BY_KEY = {
    _key(name): substance
    for substance in SUBSTANCES.values()
    for name in (substance.name, *substance.synonyms)
}


def find(name: str) -> Substance | None:
    """Return the substance of a name or synonym, None if it is not in the table.

    Case, blanks, hyphens, underscores and apostrophes make no difference.
    """
    return _BY_KEY.get(_key(name))
