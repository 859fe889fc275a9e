import pytest

from bondtrail.coverage import Judgement, Reach, estimate_reach, judgement
from bondtrail.site import Limits, Point, Product, Role, Station, StationKind

EVERY = "resistance status permissive flow running bypass"


def station(
    roles: str,
    *,
    kind: StationKind = StationKind.DRUM,
    stale: dict[str, float] | None = None,
    **limits: float,
) -> Station:
    """Return a station with these points; contacts hold two hours unless told otherwise."""
    own = {"permissive": 7200.0, "running": 7200.0, "bypass": 7200.0, **(stale or {})}
    points = {
        Role(role): Point(station="s-1", role=Role(role), stale_after_s=own.get(role, 5.0))
        for role in roles.split()
    }
    return Station(
        id="s-1",
        name="One",
        kind=kind,
        limits=Limits(**limits),
        points=points,
        volume_unit="L" if Role.FLOW in points else None,
    )


def judged(where: Station) -> dict[str, Judgement]:
    return {item.about: item for item in judgement(where)}


def test_station_with_every_point_is_judged_on_everything() -> None:
    found = judgement(station(EVERY, release_wait_s=30))
    assert [item.about for item in found if item.reach is Reach.FULL] == [
        "bond",
        "resistance figures",
        "hookups",
        "transfers",
        "volume",
        "trips",
        "permissive against bond",
        "bypass",
        "early release",
    ]
    assert not [item for item in found if item.reach is not Reach.FULL]


# Points (and kind) of the station, then what is asked, how far, words of why and of what to add.
FIXED = StationKind.FIXED_ITEM
FULL, PART, NONE = Reach.FULL, Reach.PART, Reach.NONE
CASES = [
    ("status flow", None, "bond", PART, "the monitor's, not the site's", "a resistance point"),
    ("permissive flow", None, "bond", PART, "nothing can check the permissive", "resistance or"),
    ("flow", None, "bond", NONE, "no resistance, status or permissive", "a resistance point"),
    ("status", None, "resistance figures", NONE, "no cause of a failed hookup", "a resistance"),
    ("resistance", None, "hookups", FULL, "", ""),
    ("status", None, "hookups", PART, "few hookups will show as failed", "a resistance point"),
    ("flow", None, "hookups", NONE, "tells the bond", "a resistance point"),
    ("resistance", FIXED, "hookups", NONE, "a fixed item is never hooked up", ""),
    ("resistance running", FIXED, "isolation of a fixed item", FULL, "", ""),
    ("resistance flow", FIXED, "isolation of a fixed item", FULL, "", ""),
    ("resistance", FIXED, "isolation of a fixed item", PART, "never critical", "a running or"),
    ("running", FIXED, "isolation of a fixed item", NONE, "tells the bond", "a resistance"),
    ("resistance", None, "transfers", NONE, "no transfers, no exposures, no trips", "a flow or"),
    ("running", None, "transfers", PART, "every transfer is no_data", "a resistance point"),
    ("resistance running", None, "transfers", FULL, "", ""),
    ("resistance running", None, "volume", NONE, "how much flowed", "a flow point"),
    ("resistance status flow", None, "trips", PART, "no permissive", "a permissive point"),
    ("resistance permissive flow", None, "trips", PART, "no status", "a status point"),
    ("permissive flow", None, "trips", PART, "a nuisance trip looks like a genuine", "resistance"),
    ("flow", None, "trips", NONE, "neither the permissive nor the bond", "a permissive and a"),
    ("resistance", None, "permissive against bond", NONE, "no permissive_without_bond, no "
     "permissive_withheld", "a permissive point"),
    ("permissive", None, "permissive against bond", NONE, "hold the permissive against",
     "a resistance or a status"),
    ("status permissive", None, "permissive against bond", FULL, "", ""),
    ("resistance flow", None, "bypass", NONE, "no bypass", "a bypass point"),
    ("resistance flow", None, "early release", NONE, "release_wait_s is 0", "release_wait_s"),
]  # fmt: skip


@pytest.mark.parametrize(("roles", "kind", "about", "reach", "why", "add"), CASES)
def test_gap_says_why_and_what_to_add(
    roles: str, kind: StationKind | None, about: str, reach: Reach, why: str, add: str
) -> None:
    item = judged(station(roles, kind=kind or StationKind.DRUM))[about]
    assert item.reach is reach
    assert why in item.reason
    assert add in item.add
    assert bool(item.reason) is (reach is not Reach.FULL)


@pytest.mark.parametrize(
    ("roles", "kind", "about"),
    [
        pytest.param("resistance", None, "isolation of a fixed item", id="no-fixed-item"),
        pytest.param("resistance", None, "volume", id="nothing-flows"),
        pytest.param("resistance", None, "trips", id="nothing-flows-to-stop"),
        pytest.param("resistance", None, "bypass", id="nothing-flows-bypassed"),
        pytest.param("resistance running", FIXED, "bypass", id="item-without-interlock"),
        pytest.param("resistance", FIXED, "permissive against bond", id="item-without-permissive"),
        pytest.param("resistance running", FIXED, "early release", id="item-never-released"),
        pytest.param("flow", None, "early release", id="no-bond-to-release"),
    ],
)
def test_what_does_not_arise_is_not_asked(roles: str, kind: StationKind | None, about: str) -> None:
    assert about not in judged(station(roles, kind=kind or StationKind.DRUM))


@pytest.mark.parametrize("role", ["permissive", "running", "bypass"])
@pytest.mark.parametrize(("stale_s", "told"), [(5.0, True), (59.9, True), (60.0, False)])
def test_contact_that_holds_shortly_is_pointed_out(role: str, stale_s: float, told: bool) -> None:
    found = judged(station(f"resistance flow {role}", stale={role: stale_s}))
    about = f"{role} between changes"
    assert (about in found) is told
    if told:
        assert found[about].reach is Reach.PART
        assert f"{stale_s:g} s" in found[about].reason


@pytest.mark.parametrize(
    ("stale_s", "hold_s", "told"),
    [
        pytest.param(5.0, 1.0, False, id="longer-than-the-hold"),
        pytest.param(1.0, 1.0, True, id="as-long-as-the-hold"),
        pytest.param(0.5, 1.0, True, id="shorter-than-the-hold"),
    ],
)
def test_reading_that_holds_no_longer_than_the_hold_is_pointed_out(
    stale_s: float, hold_s: float, told: bool
) -> None:
    found = judged(station("resistance", stale={"resistance": stale_s}, hold_s=hold_s))
    assert ("verified bond" in found) is told


@pytest.mark.parametrize(("stale_s", "told"), [(3600.0, False), (3601.0, True)])
def test_reading_that_outlives_an_outage_is_pointed_out(stale_s: float, told: bool) -> None:
    found = judged(station("resistance", stale={"resistance": stale_s}))
    assert ("outages of the data" in found) is told


def test_nothing_is_said_twice_and_every_line_is_short() -> None:
    for roles in ("", "resistance", "status running", "permissive flow", "flow bypass", EVERY):
        for kind in StationKind:
            found = judgement(station(roles, kind=kind, stale={"permissive": 1.0}))
            assert len({item.about for item in found}) == len(found)
            assert max(len(item.reason) for item in found) < 90


@pytest.mark.parametrize(
    ("interval_s", "stale_s", "told"),
    [
        pytest.param(None, 60.0, False, id="not-said"),
        pytest.param(1.0, 60.0, False, id="looked-at-in-time"),
        pytest.param(60.0, 60.0, True, id="looked-at-as-it-goes-stale"),
        pytest.param(90.0, 60.0, True, id="stale-before-it-is-looked-at"),
    ],
)
def test_signal_that_is_looked_at_too_seldom_is_pointed_out(
    interval_s: float | None, stale_s: float, told: bool
) -> None:
    where = station("resistance", stale={"resistance": stale_s})
    point = where.points[Role.RESISTANCE].model_copy(update={"interval_s": interval_s})
    found = judged(where.model_copy(update={"points": {Role.RESISTANCE: point}}))
    assert ("resistance between readings" in found) is told


LIQUID = Product(phase="liquid", conductivity_pS_m=1.0, relative_permittivity=2.4, mie_mJ=0.24)
POWDER = Product(phase="powder", mie_mJ=15.0)
PIPE = {"pipe_diameter_m": 0.1, "pipe_length_m": 6.0, "capacitance_pF": 100.0}
TAKEN = {"operation": "pouring", "capacitance_pF": 100.0}


@pytest.mark.parametrize(
    ("roles", "own", "product", "tabled"),
    [
        pytest.param("resistance flow", PIPE, LIQUID, (), id="liquid"),
        pytest.param("resistance flow", TAKEN, POWDER, (), id="powder"),
        pytest.param(
            "resistance running",
            {**PIPE, "rated_flow": 800.0, "rated_unit": "L"},
            LIQUID,
            (),
            id="rated-flow",
        ),
        pytest.param(
            "resistance flow",
            PIPE,
            Product(phase="liquid"),
            ("conductivity_pS_m", "relative_permittivity", "mie_mJ"),
            id="known-substance",
        ),
        pytest.param(
            "resistance flow",
            {"capacitance_pF": 100.0},
            Product(phase="powder", mie_mJ=15.0, charge_uC_kg=1.0),
            (),
            id="powder-of-known-charge",
        ),
    ],
)
def test_hazard_can_be_estimated_where_all_is_told(
    roles: str, own: dict[str, float], product: Product, tabled: tuple[str, ...]
) -> None:
    where = station(roles).model_copy(update=own)
    assert estimate_reach(where, product, tabled) == Judgement("hazard estimate", Reach.FULL)


@pytest.mark.parametrize(
    ("roles", "own", "product", "reach", "why", "add"),
    [
        pytest.param("resistance", PIPE, LIQUID, NONE, "nothing tells what comes in",
                     "a flow or a running point", id="nothing-flows"),
        pytest.param("resistance running", PIPE, LIQUID, NONE, "running alone",
                     "rated_flow, or a flow point", id="running-alone"),
        pytest.param("resistance flow", {}, LIQUID, NONE, "no bore", "pipe_diameter_m",
                     id="no-bore"),
        pytest.param("resistance flow", {}, None, NONE, "no bore", "pipe_diameter_m",
                     id="no-bore-and-no-product"),
        pytest.param("resistance flow", {}, POWDER, NONE, "what the powder carries",
                     "operation, or charge_uC_kg of the product", id="no-operation"),
        pytest.param("resistance flow", {"volume_unit": "kg"}, None, NONE,
                     "what the powder carries", "operation, or charge_uC_kg of the product",
                     id="some-powder"),
        pytest.param("resistance flow", PIPE, None, PART, "no product: only of transfers whose "
                     "ticket names one", "product", id="no-product"),
        pytest.param("status flow", PIPE, LIQUID, PART, "a wide spread", "a resistance point",
                     id="no-resistance"),
        pytest.param("resistance flow", {"pipe_diameter_m": 0.1}, LIQUID, PART, "a wide spread",
                     "pipe_length_m, capacitance_pF", id="pipe-of-unknown-length"),
        pytest.param("resistance flow", PIPE, Product(phase="liquid"), PART, "or no figure",
                     "conductivity_pS_m of the product, relative_permittivity of the product, "
                     "mie_mJ of the product", id="liquid-unknown"),
        pytest.param("resistance flow", TAKEN, Product(phase="powder"), PART, "or no figure",
                     "mie_mJ of the product", id="powder-unknown"),
    ],
)  # fmt: skip
def test_hazard_estimate_says_what_keeps_it_and_what_to_add(
    roles: str,
    own: dict[str, float],
    product: Product | None,
    reach: Reach,
    why: str,
    add: str,
) -> None:
    found = estimate_reach(station(roles).model_copy(update=own), product)
    assert found.reach is reach
    assert why in found.reason
    assert found.add == add
    assert len(found.reason) < 90
