"""The table of substances: well formed, and as published."""

from __future__ import annotations

import pytest

from analytics.core.electrostatics.relaxation import relaxation_time
from analytics.core.electrostatics.spread import Spread
from analytics.core.electrostatics.substances import SUBSTANCES, Substance, find

BOUNDS = {  # of anything that is handled: what is outside them is a slip of the pen
    "conductivity_pS_m": (1e-5, 1e12, "pS/m"),
    "relative_permittivity": (1, 200, ""),
    "mie_mJ": (1e-3, 1e4, "mJ"),
}


@pytest.mark.parametrize("substance", SUBSTANCES.values(), ids=list(SUBSTANCES))
def test_every_value_has_a_source_and_lies_within_reason(substance: Substance) -> None:
    values = {name: getattr(substance, name) for name in BOUNDS}
    assert any(values.values())
    for name, value in values.items():
        least, most, unit = BOUNDS[name]
        if value is not None:
            assert least <= value.low <= value.high <= most
            assert (value.unit, bool(value.source.strip())) == (unit, True)


@pytest.mark.parametrize("substance", SUBSTANCES.values(), ids=list(SUBSTANCES))
def test_only_liquids_conduct(substance: Substance) -> None:
    if substance.phase != "liquid":
        assert substance.conductivity_pS_m is None
        assert substance.relative_permittivity is None
        assert substance.mie_mJ is not None


@pytest.mark.parametrize("name", SUBSTANCES)
def test_every_name_and_synonym_finds_its_substance(name: str) -> None:
    substance = SUBSTANCES[name]
    assert substance.name == name
    for known in (name, *substance.synonyms):
        for written in (known, known.upper(), f" {known} ", known.replace(" ", "-")):
            assert find(written) is substance


def test_no_two_substances_share_a_name() -> None:
    names = [n for s in SUBSTANCES.values() for n in (s.name, *s.synonyms)]
    keys = [name.casefold().replace(" ", "").replace("-", "") for name in names]
    assert len(keys) == len(set(keys))


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("MEK", "methyl ethyl ketone"),
        ("methyl-ethyl-ketone", "methyl ethyl ketone"),
        ("Methyl_Ethyl  Ketone", "methyl ethyl ketone"),
        ("IPA", "isopropanol"),
        ("2 propanol", "isopropanol"),
        ("carbon disulphide", "carbon disulfide"),
        ("n-hexane", "hexane"),
        ("aluminum", "aluminium"),
        ("vm&p naphtha", "VM&P naphtha"),
        ("varnish makers’ and painters’ naphtha", "VM&P naphtha"),  # noqa: RUF001
    ],
)
def test_spellings(written: str, name: str) -> None:
    found = find(written)
    assert found is not None
    assert found.name == name


@pytest.mark.parametrize("name", ["", " ", "-", "unobtainium", "toluen", "toluene 2"])
def test_what_is_not_in_the_table_is_not_guessed(name: str) -> None:
    assert find(name) is None


@pytest.mark.parametrize(
    ("name", "conductivity", "permittivity", "tau"),
    [
        # Lange's and CRC handbooks by the open library thermo 0.6.1; the times by hand.
        ("toluene", 1, 2.3866, 21.13),
        ("methanol", 4.4e7, 33.43, 6.73e-6),
        ("acetone", 6e6, 21.06, 3.11e-5),
        ("methyl ethyl ketone", 1e7, 18.60, 1.65e-5),
        ("ethanol", 1.35e5, 25.45, 1.67e-3),
        ("isopropanol", 3.5e8, 20.07, 5.08e-7),
        ("carbon disulfide", 7.8e-4, 2.614, 29675),
        ("diethyl ether", 40, 4.303, 0.952),
        ("ethyl acetate", 1e5, 6.091, 5.39e-4),
        # An article on U.S. CSB case study 2007-06-I-KS; permittivity 2 is our assumption.
        ("VM&P naphtha", 3, 2, 5.9028),
    ],
)
def test_liquids(name: str, conductivity: float, permittivity: float, tau: float) -> None:
    found = SUBSTANCES[name]
    kappa, eps_r = found.conductivity_pS_m, found.relative_permittivity
    assert kappa is not None
    assert eps_r is not None
    assert (kappa.typical, eps_r.typical) == (conductivity, permittivity)
    assert relaxation_time(kappa.typical, eps_r.typical) == pytest.approx(tau, rel=2e-3)


@pytest.mark.parametrize(
    ("name", "ends"),
    [
        # Traces move a low conductivity by orders of magnitude: a decade either way is our choice.
        pytest.param("toluene", (0.1, 10), id="low"),
        pytest.param("carbon disulfide", (7.8e-5, 7.8e-3), id="lowest"),
        pytest.param("VM&P naphtha", (0.3, 30), id="from-an-article"),
        pytest.param("diethyl ether", (4, 400), id="just-below-the-line"),
        pytest.param("ethyl acetate", (1e5, 1e5), id="above-it"),
        pytest.param("methanol", (4.4e7, 4.4e7), id="high"),
    ],
)
def test_a_low_conductivity_is_known_to_a_decade_either_way(
    name: str, ends: tuple[float, float]
) -> None:
    kappa = SUBSTANCES[name].conductivity_pS_m
    assert kappa is not None
    assert (kappa.low, kappa.high) == pytest.approx(ends)
    assert ("our own choice" in kappa.source) == (kappa.low < kappa.high)


@pytest.mark.parametrize("name", ["benzene", "hexane"])
def test_implausible_conductivities_are_left_out(name: str) -> None:
    assert SUBSTANCES[name].conductivity_pS_m is None


@pytest.mark.parametrize(
    ("name", "low", "typical", "high"),
    [
        # University of Washington vehicle fire pages, after NFPA 921; NFPA 77 from memory.
        ("hydrogen", 0.016, 0.019, 0.02),
        ("methane", 0.21, 0.21, 0.28),
        ("propane", 0.25, 0.25, 0.25),
    ],
)
def test_ignition_energies_that_documents_differ_on(
    name: str, low: float, typical: float, high: float
) -> None:
    found = SUBSTANCES[name].mie_mJ
    assert isinstance(found, Spread)
    assert (found.low, found.typical, found.high) == (low, typical, high)


MEMORY = [
    *(("carbon disulfide", 0.009), ("acetylene", 0.017), ("ethylene", 0.07)),
    *(("ethylene oxide", 0.06), ("methanol", 0.14), ("benzene", 0.20), ("cyclohexane", 0.22)),
    *(("hexane", 0.24), ("heptane", 0.24), ("toluene", 0.24), ("diethyl ether", 0.19)),
    *(("ethyl acetate", 0.46), ("methyl ethyl ketone", 0.53), ("isopropanol", 0.65)),
    ("acetone", 1.15),
]


@pytest.mark.parametrize(("name", "energy"), MEMORY)
def test_ignition_energies_from_memory_say_so(name: str, energy: float) -> None:
    found = SUBSTANCES[name].mie_mJ
    assert found is not None
    assert found.low == found.high == energy
    assert "from memory" in found.source


@pytest.mark.parametrize(
    ("name", "energy"),
    [
        # A public list of dust clouds.
        *(("polyethylene", 10), ("polystyrene", 15), ("aluminium", 15), ("nylon", 20)),
        *(("sugar", 35), ("wood flour", 40), ("wheat flour", 50), ("grain", 55)),
        *(("coal", 55), ("coffee", 85)),
    ],
)
def test_dusts(name: str, energy: float) -> None:
    found = SUBSTANCES[name].mie_mJ
    assert found is not None
    assert (SUBSTANCES[name].phase, found.typical) == ("powder", energy)
