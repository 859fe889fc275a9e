import datetime as dt
import pickle
from pathlib import Path
from typing import get_args
from zoneinfo import ZoneInfo

import pytest

from bondtrail.site import (
    AlarmRules,
    HazardRules,
    Limits,
    Operation,
    ReportPlan,
    Role,
    Shift,
    Site,
    SiteError,
    StationKind,
    load_site,
    parse_site,
    same_judgement,
)

EXAMPLE = """\
schema = 1

[site]
id = "alder-quay"
name = "Alder Quay (invented)"
timezone = "Europe/Lisbon"

[limits]                     # site-wide; a [[station]] may override any of them
limit_ohm = 10.0             # at or below: low enough
open_ohm = 100000.0          # at or above: open circuit
hold_s = 1.0                 # how long low before it is verified
stale_after_s = 5.0          # how long a sample holds without a successor
flow_min = 5.0               # flow counts at or above this
transfer_min_s = 10.0        # shorter flow is not a transfer
resume_within_s = 600.0      # a pause up to this long stays in the transfer
start_allowance_s = 2.0      # unbonded flow at the start, up to this, is not a finding
stop_allowance_s = 5.0       # flow may run on this long after a bond is lost
nodata_allowance_s = 10.0    # flow with bond state unknown, up to this, is not a finding
trip_window_s = 10.0         # flow must stop within this of the cause to be a trip
brief_s = 2.0                # a loss of bond shorter than this is brief
marginal_factor = 1.5        # up to this times the limit is marginal
hookup_min_s = 3.0           # contact shorter than this is a touch, not a hookup
detach_s = 3.0               # open this long ends a hookup
mismatch_s = 3.0             # permissive and bond may disagree this long
isolated_s = 60.0            # a fixed item unbonded this long is isolated
release_wait_s = 0.0         # clamp to stay on this long after flow stops
bypass_allowance_s = 1.0
cluster_count = 3            # this many bond losses ...
cluster_s = 60.0             # ... within this long is a chattering cluster

[product.toluene]            # electrostatic properties, for the hazard estimate
phase = "liquid"             # or "powder"
conductivity_pS_m = 1.0
relative_permittivity = 2.4
mie_mJ = 0.24
source = "where the values come from"

[[station]]
id = "rail-1"
name = "Rail spot 1"
kind = "rail_tank_car"       # road_tanker, drum, ibc, mobile_vessel, flexible_bulk_bag, fixed_item
unit = "M1"
channel = 1
product = "toluene"
pipe_diameter_m = 0.10
capacitance_pF = 1000.0      # of the vessel when isolated
limit_ohm = 10.0             # an override

[station.points]
resistance = { alias = ["M1/1"], unit = "ohm" }
permissive = { alias = ["PRM-101"] }
flow       = { alias = ["FT-101"], unit = "m3/h" }
bypass     = { alias = ["KEY-101"] }
"""

SMALL = """\
schema = 1
[site]
id = "small"
name = "Small (invented)"
timezone = "UTC"
[[station]]
id = "s-1"
name = "One"
kind = "drum"
"""


@pytest.fixture
def example() -> Site:
    return parse_site(EXAMPLE)


def test_the_example_is_resolved(example: Site) -> None:
    assert (example.id, example.name) == ("alder-quay", "Alder Quay (invented)")
    assert example.zone == ZoneInfo("Europe/Lisbon")
    assert example.text == EXAMPLE
    (station,) = example.stations
    assert (station.id, station.name, station.kind) == (
        "rail-1",
        "Rail spot 1",
        StationKind.RAIL_TANK_CAR,
    )
    assert (station.unit, station.channel, station.product) == ("M1", 1, "toluene")
    assert (station.pipe_diameter_m, station.capacitance_pF) == (0.1, 1000.0)
    assert (station.volume_unit, station.bond_role) == ("L", Role.RESISTANCE)
    assert not station.is_fixed
    points = {point.name: (point.aliases, point.scale) for point in station.points.values()}
    assert points == {
        "rail-1.resistance": (("M1/1",), 1.0),
        "rail-1.permissive": (("PRM-101",), 1.0),
        "rail-1.flow": (("FT-101",), 1000 / 60),
        "rail-1.bypass": (("KEY-101",), 1.0),
    }
    assert {point.stale_after_s for point in example.points()} == {5.0}


def test_example_has_the_defaults_of_the_limits(example: Site) -> None:
    assert example.stations[0].limits == Limits()
    assert parse_site(SMALL).stations[0].limits == Limits()


def test_product_keeps_its_properties(example: Site) -> None:
    assert example.products["toluene"].model_dump() == {
        "phase": "liquid",
        "substance": None,
        "conductivity_pS_m": 1.0,
        "relative_permittivity": 2.4,
        "mie_mJ": 0.24,
        "charge_uC_kg": None,
        "source": "where the values come from",
    }


@pytest.mark.parametrize(
    ("tag", "name"),
    [
        pytest.param("FT-101", "rail-1.flow", id="alias"),
        pytest.param("rail-1.flow", "rail-1.flow", id="own-name"),
        pytest.param("ft-101", None, id="case-matters"),
        pytest.param("rail-1.status", None, id="role-without-a-point"),
        pytest.param("", None, id="empty"),
    ],
)
def test_point_is_found_by_alias_and_by_own_name(example: Site, tag: str, name: str | None) -> None:
    point = example.point(tag)
    assert (point.name if point else None) == name


def test_station_is_found_by_id(example: Site) -> None:
    assert example.station("rail-1") is example.stations[0]
    with pytest.raises(KeyError):
        example.station("rail-2")


@pytest.mark.parametrize("name", sorted(Limits.model_fields))
def test_any_limit_may_be_set_for_the_site_and_overridden_by_a_station(name: str) -> None:
    other = {**Limits().model_dump(), "open_ohm": 2e5, "limit_ohm": 20.0}
    site_wide = {**Limits().model_dump(), name: other[name] + 1}
    text = SMALL.replace("[[station]]", f"[limits]\n{name} = {site_wide[name]}\n[[station]]")
    assert parse_site(text).stations[0].limits == Limits(**site_wide)
    overridden = {**site_wide, name: other[name] + 2}
    assert parse_site(f"{text}{name} = {overridden[name]}\n").stations[0].limits == Limits(
        **overridden
    )


def test_override_holds_at_its_own_station_only() -> None:
    second = '[[station]]\nid = "s-2"\nname = "Two"\nkind = "drum"\n'
    site = parse_site(f"{SMALL}limit_ohm = 4\n{second}")
    assert [station.limits.limit_ohm for station in site.stations] == [4.0, 10.0]


def test_point_is_stale_by_its_own_limit_else_the_station_s() -> None:
    text = f"""{SMALL}stale_after_s = 30
[station.points]
resistance = {{}}
permissive = {{ stale_after_s = 7200 }}
"""
    points = parse_site(text).stations[0].points
    assert {role: point.stale_after_s for role, point in points.items()} == {
        Role.RESISTANCE: 30.0,
        Role.PERMISSIVE: 7200.0,
    }


@pytest.mark.parametrize(
    ("product", "unit", "scale", "volume_unit"),
    [
        pytest.param(None, None, 1.0, "L", id="nothing-named"),
        pytest.param("liquid", None, 1.0, "L", id="liquid-without-unit"),
        pytest.param("powder", None, 1.0, "kg", id="powder-without-unit"),
        pytest.param(None, "L/s", 60.0, "L", id="volume-rate-without-product"),
        pytest.param(None, "t/h", 1000 / 60, "kg", id="mass-rate-without-product"),
        pytest.param("liquid", "m3/h", 1000 / 60, "L", id="liquid"),
        pytest.param("powder", "kg/h", 1 / 60, "kg", id="powder"),
    ],
)
def test_flow_is_scaled_to_litres_or_kilograms_a_minute(
    product: str | None, unit: str | None, scale: float, volume_unit: str
) -> None:
    named = f'product = "p"\n[product.p]\nphase = "{product}"\n' if product else ""
    head, _, rest = named.partition("\n")
    given = f'unit = "{unit}"' if unit else ""
    text = SMALL.replace("[[station]]", f"{rest}[[station]]")
    text = f"{text}{head}\n[station.points]\nflow = {{ {given} }}\n"
    station = parse_site(text).stations[0]
    assert (station.points[Role.FLOW].scale, station.volume_unit) == (scale, volume_unit)


def test_station_without_flow_has_no_volume() -> None:
    station = parse_site(f"{SMALL}[station.points]\nrunning = {{}}\n").stations[0]
    assert station.volume_unit is None


@pytest.mark.parametrize(
    ("roles", "bond"),
    [
        pytest.param("resistance status permissive", Role.RESISTANCE, id="resistance-first"),
        pytest.param("permissive status", Role.STATUS, id="then-status"),
        pytest.param("flow bypass permissive", Role.PERMISSIVE, id="then-permissive"),
        pytest.param("flow bypass running", None, id="none-tells"),
        pytest.param("", None, id="no-points"),
    ],
)
def test_bond_is_read_from_the_best_point(roles: str, bond: Role | None) -> None:
    points = "".join(f"{role} = {{}}\n" for role in roles.split())
    station = parse_site(f"{SMALL}[station.points]\n{points}").stations[0]
    assert station.bond_role is bond


def test_same_alias_twice_at_one_point_is_one_alias() -> None:
    text = f'{SMALL}[station.points]\nflow = {{ alias = ["A", "A", "s-1.flow"] }}\n'
    site = parse_site(text)
    assert site.stations[0].points[Role.FLOW].aliases == ("A", "s-1.flow")


SIX, TWO, TEN, MIDNIGHT = dt.time(6), dt.time(14), dt.time(22), dt.time(0)


@pytest.mark.parametrize(
    ("written", "shift"),
    [
        pytest.param('from = "06:00"\nto = "14:00"', Shift("a b", SIX, TWO), id="every-day"),
        pytest.param("from = 06:00:00\nto = 14:00:00.0", Shift("a b", SIX, TWO), id="toml-times"),
        pytest.param('from = "22:00"\nto = "06:00"', Shift("a b", TEN, SIX), id="over-midnight"),
        pytest.param('from = "14:00"\nto = "24:00"', Shift("a b", TWO, MIDNIGHT), id="to-24"),
        pytest.param('from = "14:00"\nto = "00:00"', Shift("a b", TWO, MIDNIGHT), id="to-00"),
        pytest.param(
            'from = "00:00"\nto = "24:00"', Shift("a b", MIDNIGHT, MIDNIGHT), id="whole-day"
        ),
        pytest.param(
            'from = "06:00"\nto = "14:00"\ndays = ["sun", "mon"]',
            Shift("a b", SIX, TWO, frozenset({0, 6})),
            id="some-days-in-any-order",
        ),
    ],
)
def test_shift_is_read(written: str, shift: Shift) -> None:
    assert parse_site(f'{SMALL}[[shift]]\nname = "a b"\n{written}\n').shifts == (shift,)


def test_shifts_that_follow_each_other_keep_the_order_of_the_file() -> None:
    written = "".join(
        f'[[shift]]\nname = "{name}"\nfrom = "{begin}"\nto = "{end}"\n'
        for name, begin, end in (
            ("night", "22:00", "06:00"),
            ("early", "06:00", "14:00"),
            ("late", "14:00", "22:00"),
        )
    )
    assert [shift.name for shift in parse_site(SMALL + written).shifts] == [
        "night",
        "early",
        "late",
    ]


def test_without_tables_of_its_own_a_site_has_no_shifts_and_no_reports() -> None:
    site = parse_site(SMALL)
    assert (site.shifts, site.alarms, site.reports) == ((), AlarmRules(), ())


@pytest.mark.parametrize(
    ("written", "rules"),
    [
        pytest.param("", AlarmRules(), id="empty-table"),
        pytest.param(
            'flood_begins = "10_or_more"\nflood_windows = "sliding"',
            AlarmRules(flood_begins="10_or_more", flood_windows="sliding"),
            id="floods",
        ),
        pytest.param(
            "flood_ends_below = 3\nchattering_count = 4\nchattering_s = 90\nfleeting_s = 5\n"
            "stale_h = 12",
            AlarmRules(
                flood_ends_below=3,
                chattering_count=4,
                chattering_s=90.0,
                fleeting_s=5.0,
                stale_h=12.0,
            ),
            id="counts-and-spans",
        ),
    ],
)
def test_alarm_rules_are_read(written: str, rules: AlarmRules) -> None:
    assert parse_site(f"{SMALL}[alarms]\n{written}\n").alarms == rules


def test_reports_are_read_with_their_defaults() -> None:
    written = """[[report]]
every = "weekly"
folder = "reports"
[[report]]
every = "monthly"
folder = "reports"
format = "xlsx"
by = "week"
"""
    assert parse_site(SMALL + written).reports == (
        ReportPlan(every="weekly", folder="reports"),
        ReportPlan(every="monthly", folder="reports", format="xlsx", by="week"),
    )


def test_station_may_name_its_area_and_its_position() -> None:
    named = parse_site(f'{SMALL}area = "Filling hall"\nposition = "Desk 2"\n').stations[0]
    assert (named.area, named.position) == ("Filling hall", "Desk 2")
    plain = parse_site(SMALL).stations[0]
    assert (plain.area, plain.position) == (None, None)


PRODUCT = '[product.p]\nphase = "{}"\n{}\n[[station]]'


@pytest.mark.parametrize(
    ("phase", "number", "text"),
    [
        pytest.param("liquid", "conductivity_pS_m = 1", 'conductivity = "1e-12 S/m"', id="S/m"),
        pytest.param("liquid", "mie_mJ = 0.24", 'mie = "240 uJ"', id="uJ"),
        pytest.param("powder", "charge_uC_kg = 1", 'charge = "1 nC/g"', id="nC/g"),
    ],
)
def test_quantity_of_a_product_is_a_number_or_text_with_its_unit(
    phase: str, number: str, text: str
) -> None:
    by_number, by_text = (
        parse_site(SMALL.replace("[[station]]", PRODUCT.format(phase, line))).products["p"]
        for line in (number, text)
    )
    assert by_text == by_number
    key, _, value = number.partition(" = ")
    assert getattr(by_text, key) == float(value)


@pytest.mark.parametrize(
    ("number", "text"),
    [
        pytest.param("pipe_diameter_m = 0.1016", 'pipe_diameter = "4 in"', id="bore"),
        pytest.param("pipe_length_m = 6.096", 'pipe_length = "20 ft"', id="length"),
        pytest.param("filter_charge_uC_m3 = 0", 'filter_charge = "0 uC/m3"', id="no-charge"),
        pytest.param("filter_charge_uC_m3 = 100", 'filter_charge = "100 nC/L"', id="filter"),
        pytest.param("capacitance_pF = 1000", 'capacitance = "1 nF"', id="capacitance"),
    ],
)
def test_quantity_of_a_station_is_a_number_or_text_with_its_unit(number: str, text: str) -> None:
    by_number, by_text = (parse_site(f"{SMALL}{line}\n").stations[0] for line in (number, text))
    assert by_text == by_number
    key, _, value = number.partition(" = ")
    assert getattr(by_text, key) == float(value)


@pytest.mark.parametrize(
    ("phase", "written", "rated", "unit"),
    [
        pytest.param("liquid", "0.3 m3/h", 5.0, "L", id="liquid"),
        pytest.param("powder", "3 t/h", 50.0, "kg", id="powder"),
        pytest.param(None, "5 L/min", 5.0, "L", id="volume-without-product"),
        pytest.param(None, "50 kg/min", 50.0, "kg", id="mass-without-product"),
    ],
)
def test_rated_flow_is_in_litres_or_kilograms_a_minute(
    phase: str | None, written: str, rated: float, unit: str
) -> None:
    text = f'{SMALL}rated_flow = "{written}"\n'
    if phase:
        text = text.replace("[[station]]", PRODUCT.format(phase, ""))
        text += 'product = "p"\n'
    station = parse_site(text).stations[0]
    assert (station.rated_flow, station.rated_unit) == (rated, unit)
    assert station.volume_unit is None  # what a running contact adds up to is not measured


def test_what_the_estimate_needs_may_be_left_out() -> None:
    site = parse_site(f"{SMALL}points = {{ running = {{}} }}\n")
    (station,) = site.stations
    assert site.hazard == HazardRules()
    assert (site.hazard.streaming_form, site.hazard.leakage_high_ohm) == ("spread", None)
    assert {
        station.pipe_diameter_m,
        station.pipe_length_m,
        station.filter_charge_uC_m3,
        station.capacitance_pF,
        station.operation,
        station.rated_flow,
        station.rated_unit,
        station.points[Role.RUNNING].interval_s,
    } == {None}


@pytest.mark.parametrize("operation", get_args(Operation))
def test_station_may_name_what_is_done_to_a_powder(operation: str) -> None:
    station = parse_site(f'{SMALL}operation = "{operation}"\n').stations[0]
    assert station.operation == operation


def test_rules_of_the_hazard_estimate_are_read() -> None:
    written = 'streaming_form = "schon"\nleakage_typical_ohm = 1e8\nleakage_high_ohm = 1e8\n'
    assert parse_site(f"{SMALL}[hazard]\n{written}").hazard == HazardRules(
        streaming_form="schon", leakage_typical_ohm=1e8, leakage_high_ohm=1e8
    )


def test_readings_are_kept_for_ever_unless_a_file_says_for_how_long() -> None:
    assert parse_site(SMALL).retention.readings_days is None
    assert parse_site(f"{SMALL}[retention]\n").retention.readings_days is None
    shorter = parse_site(f"{SMALL}[retention]\nreadings_days = 400\n")
    assert shorter.retention.readings_days == 400
    assert same_judgement(shorter.stations[0], parse_site(SMALL).stations[0])


@pytest.mark.parametrize(
    ("written", "groups"),
    [
        pytest.param("", None, id="all"),
        pytest.param("[sparkplug]\n", None, id="all-by-an-empty-table"),
        pytest.param("[sparkplug]\ngroups = []\n", [], id="none"),
        pytest.param('[sparkplug]\ngroups = ["plant", "Yard 2"]\n', ["plant", "Yard 2"], id="two"),
    ],
)
def test_groups_of_sparkplug_are_all_unless_a_file_names_them(
    written: str, groups: list[str] | None
) -> None:
    assert parse_site(SMALL + written).sparkplug.groups == groups


def test_point_may_say_how_often_its_signal_is_looked_at() -> None:
    text = f"{SMALL}[station.points]\npermissive = {{ interval_s = 0.25 }}\nflow = {{}}\n"
    points = parse_site(text).stations[0].points
    assert {role: point.interval_s for role, point in points.items()} == {
        Role.PERMISSIVE: 0.25,
        Role.FLOW: None,
    }


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        pytest.param("", 0.0, id="left-out: clocks-are-taken-to-agree"),
        pytest.param("clock_error_s = 0", 0.0, id="none"),
        pytest.param("clock_error_s = 0.25", 0.25, id="some"),
        pytest.param("clock_error_s = 86_400", 86_400.0, id="a-day-at-most"),
    ],
)
def test_site_may_say_how_far_the_clocks_of_its_devices_differ(
    written: str, expected: float
) -> None:
    text = SMALL.replace('timezone = "UTC"', f'timezone = "UTC"\n{written}')
    assert parse_site(text).clock_error_s == expected


def test_product_may_name_the_substance_that_it_is() -> None:
    text = SMALL.replace("[[station]]", PRODUCT.format("liquid", 'substance = "toluene"'))
    assert parse_site(text).products["p"].substance == "toluene"


def test_tables_may_stand_in_any_order_and_points_inline() -> None:
    head, _, station = SMALL.partition("[[station]]")
    schema, _, header = head.partition("\n")
    inline = f"{schema}\n[[station]]{station}points = {{ flow = {{}} }}\n{header}"
    assert list(parse_site(inline).stations[0].points) == [Role.FLOW]


@pytest.mark.parametrize(
    "encode",
    [
        pytest.param(lambda text: text.encode(), id="plain"),
        pytest.param(lambda text: text.encode("utf-8-sig"), id="byte-order-mark"),
        pytest.param(lambda text: text.replace("\n", "\r\n").encode(), id="crlf"),
        pytest.param(lambda text: text.rstrip().encode(), id="no-last-newline"),
    ],
)
def test_file_reads_alike_however_it_was_saved(tmp_path: Path, encode, example: Site) -> None:
    path = tmp_path / "site.toml"
    path.write_bytes(encode(EXAMPLE))
    assert load_site(path).stations == example.stations


def test_text_in_memory_may_begin_with_a_byte_order_mark(example: Site) -> None:
    assert parse_site(f"\ufeff{EXAMPLE}") == example


def test_text_kept_gives_the_same_site_again(example: Site) -> None:
    assert parse_site(example.text) == example


def test_names_in_any_script_are_kept() -> None:
    name = "Füllstelle 一 Ω"
    site = parse_site(SMALL.replace("One", name))
    assert site.stations[0].name == name


def test_site_and_error_survive_the_way_to_another_process(example: Site) -> None:
    example.point("FT-101")
    assert pickle.loads(pickle.dumps(example)) == example
    with pytest.raises(SiteError) as caught:
        parse_site("")
    again = pickle.loads(pickle.dumps(caught.value))
    assert (str(again), again.problems) == (str(caught.value), caught.value.problems)


def test_models_cannot_be_changed(example: Site) -> None:
    with pytest.raises(ValueError, match="frozen"):
        example.stations[0].limits.limit_ohm = 1e9  # type: ignore[misc]


@pytest.mark.parametrize(
    ("old", "new", "same"),
    [
        pytest.param("", "", True, id="nothing"),
        pytest.param("Rail spot 1", "Spot one", True, id="name"),
        pytest.param("M1/1", "M1/9", True, id="alias"),
        pytest.param('"m3/h"', '"L/min"', True, id="unit-converted-on-the-way-in"),
        pytest.param("channel = 1", "channel = 2", True, id="channel"),
        pytest.param("channel = 1", 'channel = 1\narea = "Quay"', True, id="area"),
        pytest.param("channel = 1", 'channel = 1\nposition = "Desk"', True, id="position"),
        pytest.param('Lisbon"', 'Lisbon"\nclock_error_s = 9', True, id="clock-error"),
        pytest.param("rail_tank_car", "drum", True, id="kind-judged-alike"),
        pytest.param("rail_tank_car", "fixed_item", False, id="fixed-or-not"),
        pytest.param("hold_s = 1.0", "hold_s = 2.0", False, id="site-limit"),
        pytest.param("limit_ohm = 10.0             # an", "limit_ohm = 9 #", False, id="override"),
        pytest.param('["PRM-101"]', '["PRM-101"], stale_after_s = 9', False, id="stale-point"),
        pytest.param("capacitance_pF = 1000.0", "capacitance_pF = 9", True, id="capacitance"),
        pytest.param("channel = 1", 'rated_flow = "1 L/s"', True, id="rated-flow"),
        pytest.param("channel = 1", 'operation = "pouring"', True, id="operation"),
        pytest.param("channel = 1", 'pipe_length = "1 m"', True, id="pipe-length"),
        pytest.param("channel = 1", "filter_charge_uC_m3 = 9", True, id="filter-charge"),
        pytest.param('["PRM-101"]', '["PRM-101"], interval_s = 1', True, id="interval"),
        pytest.param("bypass     = { alias", "running = { alias", False, id="role"),
        pytest.param('bypass     = { alias = ["KEY-101"] }', "", False, id="fewer-points"),
        pytest.param('product = "toluene"', "", False, id="product-of-its-transfers"),
    ],
)
def test_same_judgement_asks_for_what_the_rules_use(old: str, new: str, same: bool) -> None:
    before, after = parse_site(EXAMPLE), parse_site(EXAMPLE.replace(old, new))
    assert same_judgement(before.stations[0], after.stations[0]) is same


def test_mass_instead_of_volume_is_another_judgement() -> None:
    before, after = (
        parse_site(f'{SMALL}[station.points]\nflow = {{ unit = "{unit}" }}\n').stations[0]
        for unit in ("L/min", "kg/min")
    )
    assert not same_judgement(before, after)
