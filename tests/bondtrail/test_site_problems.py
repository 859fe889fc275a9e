from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bondtrail.site import Problem, Site, SiteError, load_site, parse_site
from bondtrail.site_problems import MOST, Problems, meant, shown

GOOD = """\
schema = 1
[site]
id = "quay"
name = "Quay (invented)"
timezone = "Europe/Lisbon"
[limits]
limit_ohm = 10.0
[alarms]
stale_h = 24
[hazard]
leakage_typical_ohm = 1e9
[[shift]]
name = "early"
from = "06:00"
to = "14:00"
[[shift]]
name = "night"
from = "22:00"
to = "06:00"
days = ["mon", "sun"]
[[report]]
every = "weekly"
folder = "reports"
[product.toluene]
phase = "liquid"
mie_mJ = 0.24
[product.flour]
phase = "powder"
conductivity = "1 pS/m"
[[station]]
id = "rail-1"
name = "Rail spot 1"
kind = "rail_tank_car"
unit = "M1"
channel = 1
product = "toluene"
[station.points]
resistance = { alias = ["M1/1"], unit = "ohm" }
flow = { alias = ["FT-101"], unit = "m3/h", stale_after_s = 60 }
[[station]]
id = "bag-1"
name = "Bag filler"
kind = "flexible_bulk_bag"
unit = "M1"
channel = 2
product = "flour"
pipe_length = "20 ft"
operation = "pouring"
rated_flow = "2 t/h"
[station.points]
status = { alias = ["M1/2"] }
"""

RAIL, BAG = "[[station]] rail-1", "[[station]] bag-1"

Case = tuple[str, str, str, str, str, str]


def problems_of(text: str) -> tuple[Problem, ...]:
    with pytest.raises(SiteError) as caught:
        parse_site(text, "site.toml")
    return caught.value.problems


def test_file_without_faults_is_taken() -> None:
    assert [station.id for station in parse_site(GOOD).stations] == ["rail-1", "bag-1"]


# What stands in the file, what is written instead, then table, key, and words of what is said.
SITE: list[Case] = [
    ("schema = 1", "", "", "schema", "missing", "schema = 1"),
    ("schema = 1", "schema = 2", "", "schema", "2 is not known", "1"),
    ("schema = 1", "schema = true", "", "schema", "true is not known", "1"),
    ("schema = 1", "schema = 1.0", "", "schema", "1.0 is not known", "1"),
    ("schema = 1", 'schema = "1"', "", "schema", "'1' is not known", "1"),
    ("schema = 1", "schema = 1\nsites = 3", "", "sites", "unknown key", "did you mean site?"),
    ("schema = 1", "schema = 1\nzzz = 3", "", "zzz", "unknown key", "one of schema, site"),
    ('id = "quay"', "", "[site]", "id", "missing", "such as rail-1"),
    ('id = "quay"', 'id = "a.b"', "[site]", "id", "'a.b' does not fit", "letters, digits"),
    ('id = "quay"', 'id = "a b"', "[site]", "id", "does not fit", "letters, digits"),
    ('id = "quay"', 'id = "a/b"', "[site]", "id", "does not fit", "letters, digits"),
    ('id = "quay"', 'id = "-a"', "[site]", "id", "does not fit", "letters, digits"),
    ('id = "quay"', 'id = "a\\n"', "[site]", "id", "does not fit", "letters, digits"),
    ('id = "quay"', 'id = "é"', "[site]", "id", "does not fit", "letters, digits"),
    ('id = "quay"', 'id = ""', "[site]", "id", "does not fit", "letters, digits"),
    ('id = "quay"', f'id = "{"x" * 64}"', "[site]", "id", "does not fit", "1 to 63"),
    ('id = "quay"', "id = 3", "[site]", "id", "3 is not in quotes", "letters, digits"),
    ('"Quay (invented)"', '""', "[site]", "name", "'' is empty", "1 to 200 characters"),
    ('"Quay (invented)"', '"a\\u0000b"', "[site]", "name", "does not fit", "on one line"),
    ('"Quay (invented)"', '"a\\nb"', "[site]", "name", "does not fit", "on one line"),
    ('"Quay (invented)"', f'"{"x" * 201}"', "[site]", "name", "is too long", "1 to 200"),
    ("Europe/Lisbon", "Europe/Lisbn", "[site]", "timezone", "no known zone", "Europe/Lisbon"),
    ("Europe/Lisbon", "europe/lisbon", "[site]", "timezone", "no known zone", "Europe/Lisbon"),
    ("Europe/Lisbon", "+01:00", "[site]", "timezone", "no known zone", "an IANA zone"),
    ("Europe/Lisbon", "Europe", "[site]", "timezone", "no known zone", "an IANA zone"),
    ("Europe/Lisbon", "../../etc/passwd", "[site]", "timezone", "no known zone", "IANA zone"),
    ("Europe/Lisbon", "/etc/localtime", "[site]", "timezone", "no known zone", "IANA zone"),
    ("Europe/Lisbon", "localtime", "[site]", "timezone", "no known zone", "IANA zone"),
    ("Europe/Lisbon", "right/UTC", "[site]", "timezone", "no known zone", "IANA zone"),
    ('"Europe/Lisbon"', "0", "[site]", "timezone", "not in quotes", "IANA zone"),
    ('"Europe/Lisbon"', '"UTC"\nclock_error_s = -0.5', "[site]", "clock_error_s",
     "-0.5 is negative", "0 or more, e.g. 0.5"),
    ('"Europe/Lisbon"', '"UTC"\nclock_error_s = 86401', "[site]", "clock_error_s",
     "86401 is too large", "0 or more, up to 86400, e.g. 0.5"),
    ('"Europe/Lisbon"', '"UTC"\nclock_error_s = "1 s"', "[site]", "clock_error_s",
     "'1 s' is no number", "0 or more, e.g. 0.5"),
    ('"Europe/Lisbon"', '"UTC"\nclock_error_s = nan', "[site]", "clock_error_s",
     "nan is not a finite number", "0 or more, e.g. 0.5"),
    ("[limits]", "hold_s = 1\n[limits]", "[site]", "hold_s", "unknown key", "under [limits]"),
    ("[limits]", "[[limits]]", "[limits]", "", "double brackets", "one table [limits]"),
]  # fmt: skip
LIMITS: list[Case] = [
    ("limit_ohm = 10.0", written, "[limits]", written.split()[0], wrong, right)
    for written, wrong, right in [
        ("limit_ohm = -3", "-3 is negative", "a number above 0, e.g. 10.0"),
        ("limit_ohm = 0", "0 is too small", "a number above 0, e.g. 10.0"),
        ("limit_ohm = nan", "nan is not a finite number", "a number above 0"),
        ("open_ohm = inf", "inf is not a finite number", "e.g. 100000.0"),
        ("limit_ohm = 1e999", "inf is not a finite number", "a number above 0"),
        ('limit_ohm = "10"', "'10' is no number", "a number above 0"),
        ("limit_ohm = true", "true is no number", "a number above 0"),
        ("limit_ohm = [10]", "a list is no number", "a number above 0"),
        ("limit_ohm = { a = 1 }", "a table is no number", "a number above 0"),
        ("limit_ohm = 2026-03-01", "date or time 2026-03-01 is no number", "a number above 0"),
        (f"limit_ohm = 1{'0' * 400}", "very many digits is too large", "up to 1e+12"),
        ("hold_s = -0.5", "-0.5 is negative", "a number of 0 or more, e.g. 1.0"),
        ("hold_s = 1e10", "is too large", "up to 1e+09"),
        ("stale_after_s = 0", "0 is too small", "0.001 or more, e.g. 5.0"),
        ("marginal_factor = 0.9", "0.9 is too small", "1 or more, e.g. 1.5"),
        ("cluster_count = 1", "1 is too small", "of 2 or more, e.g. 3"),
        ("cluster_count = 3.5", "3.5 is not a whole number", "a whole number of 2 or more"),
        (f"cluster_count = 1{'0' * 400}", "is too large", "up to 1e+06"),
        ("limt_ohm = 3", "unknown key", "did you mean limit_ohm?"),
        ("resistance = 3", "unknown key", "under [station.points]"),
        ("open_ohm = 10.0", "open_ohm 10.0 is not above limit_ohm 10.0", "well above limit_ohm"),
        ("limit_ohm = 100000", "open_ohm 100000.0 is not above", "well above limit_ohm"),
    ]
]
TOLUENE, FLOUR = "[product.toluene]", "[product.flour]"
PRODUCTS: list[Case] = [
    ('phase = "liquid"', "", TOLUENE, "phase", "missing", "liquid, powder"),
    ("liquid", "liqid", TOLUENE, "phase", "'liqid' is not known", "did you mean liquid?"),
    ('"liquid"', "3", TOLUENE, "phase", "3", "one of liquid, powder"),
    ("mie_mJ = 0.24", "mie_mJ = 0", TOLUENE, "mie_mJ", "0 is too small", "above 0, e.g. 0.24"),
    ("mie_mJ = 0.24", "mie_mj = 1", TOLUENE, "mie_mj", "unknown key", "did you mean mie_mJ?"),
    ("mie_mJ = 0.24", "source = 3", TOLUENE, "source", "3 is not in quotes", "text in quotes"),
    ("mie_mJ = 0.24", 'mie_mJ = 0.24\nmie = "240 uJ"', TOLUENE, "mie", "mie_mJ says it too",
     "one of the two"),
    ("mie_mJ = 0.24", 'mie_mJ = "0.24 mJ"', TOLUENE, "mie_mJ", "'0.24 mJ' is no number",
     "above 0, e.g. 0.24"),
    *(
        ("mie_mJ = 0.24", f"mie = {value}", TOLUENE, "mie", wrong,
         'an energy with its unit in quotes, such as "240 uJ"')
        for value, wrong in [
            ("0.24", "0.24 is not in quotes"),
            ("[]", "a list does not fit"),
            ('""', "'' is no number with a unit"),
            ('"0.24"', "'0.24' has no unit"),
            ('"0,24 mJ"', "'0,24 mJ' is no number with a unit"),
            ('"0.24 m"', "'m' is no unit of energy"),
            ('"0.24 bananas"', "'bananas' is no known unit"),
        ]
    ),
    ("mie_mJ = 0.24", 'mie = "0 J"', TOLUENE, "mie", "'0 J' is too small", "an energy above 0"),
    ("mie_mJ = 0.24", 'mie = "-1 mJ"', TOLUENE, "mie", "'-1 mJ' is too small", "above 0"),
    ("mie_mJ = 0.24", 'mie = "1 TJ"', TOLUENE, "mie", "is 1e+15 mJ: too large", "up to 1e+09 mJ"),
    ("mie_mJ = 0.24", 'conductivity = "1 S"', TOLUENE, "conductivity",
     "'S' is no unit of conductivity", "such as \"1e-12 S/m\""),
    ("mie_mJ = 0.24", "substance = 3", TOLUENE, "substance", "3 is not in quotes", "text in"),
    ("mie_mJ = 0.24", "charge_uC_kg = 1", TOLUENE, "charge_uC_kg",
     "a liquid is charged by its streaming", 'or phase = "powder"'),
    ("mie_mJ = 0.24", 'charge = "1 uC/kg"', TOLUENE, "charge",
     "a liquid is charged by its streaming", 'or phase = "powder"'),
    ('phase = "powder"', 'phase = "powder"\ncharge_uC_kg = -1', FLOUR, "charge_uC_kg",
     "-1 is negative", "above 0, e.g. 1.0"),
    ('phase = "powder"', 'phase = "powder"\ncharge = "1 uC"', FLOUR, "charge",
     "'uC' is no unit of charge for each mass", "1 uC/kg"),
    ("[product.flour]", "[product]\nx = 3\n[product.flour]", "[product]", "x", "3 is no table",
     "[product.NAME]"),
    ("[product.flour]", '[product.""]\nphase = "powder"\n[product.flour]', "[product.]", "",
     "does not fit", "printable"),
]  # fmt: skip
STATIONS: list[Case] = [
    ('name = "Rail spot 1"', "", RAIL, "name", "missing", "text in quotes"),
    ('id = "bag-1"', "", "[[station]] number 2", "id", "missing", "such as rail-1"),
    ('id = "bag-1"', 'id = "bag.1"', "[[station]] number 2", "id", "'bag.1'", "letters"),
    ('id = "bag-1"', 'id = "rail-1"', RAIL, "id", "number 2 has the id of station number 1",
     "an id of its own"),
    ('"rail_tank_car"', '"rail_car"', RAIL, "kind", "'rail_car' is not known",
     "did you mean rail_tank_car?"),
    ('"rail_tank_car"', '"pump"', RAIL, "kind", "'pump' is not known", "ibc, mobile_vessel"),
    ('"rail_tank_car"', "3", RAIL, "kind", "3", "one of rail_tank_car"),
    ('"rail_tank_car"', "[1]", RAIL, "kind", "a list is not known", "one of rail_tank_car"),
    ("channel = 1", "channel = -1", RAIL, "channel", "-1 is negative", "0 or more, e.g. 1"),
    ("channel = 1", 'channel = "A"', RAIL, "channel", "'A' is no number", "a whole number"),
    ("channel = 1", "chanel = 1", RAIL, "chanel", "unknown key", "did you mean channel?"),
    ("channel = 1", "zzz = 1", RAIL, "zzz", "unknown key", "points or a limit"),
    ("channel = 1", "flow = {}", RAIL, "flow", "unknown key", "under [station.points]"),
    ("channel = 1", "mismatch_s = -1", RAIL, "mismatch_s", "-1 is negative", "e.g. 3.0"),
    ("channel = 1", "capacitance_pF = 0", RAIL, "capacitance_pF", "too small", "e.g. 1000.0"),
    ("channel = 1", "pipe_diameter_m = 100", RAIL, "pipe_diameter_m", "too large", "up to 10"),
    ("channel = 1", 'pipe_diameter_m = "4 in"', RAIL, "pipe_diameter_m", "'4 in' is no number",
     "above 0, e.g. 0.1"),
    ("channel = 1", 'pipe_diameter = "4"', RAIL, "pipe_diameter", "'4' has no unit", '"4 in"'),
    ("channel = 1", "pipe_diameter = 4", RAIL, "pipe_diameter", "4 is not in quotes", '"4 in"'),
    ("channel = 1", 'pipe_diameter = "40 ft"', RAIL, "pipe_diameter",
     "'40 ft' is 12.192 m: too large", "a length up to 10 m"),
    ("channel = 1", 'pipe_diameter_m = 0.1\npipe_diameter = "x"', RAIL, "pipe_diameter",
     "pipe_diameter_m says it too", "one of the two"),
    ("channel = 1", "pipe_length_m = 0", RAIL, "pipe_length_m", "0 is too small", "e.g. 6.0"),
    ("channel = 1", 'pipe_length = "0 ft"', RAIL, "pipe_length", "'0 ft' is too small", "above 0"),
    ("channel = 1", "filter_charge_uC_m3 = -1", RAIL, "filter_charge_uC_m3", "-1 is negative",
     "of 0 or more, e.g. 100.0"),
    ("channel = 1", 'filter_charge = "-1 uC/m3"', RAIL, "filter_charge", "is too small",
     "a charge for each volume of 0 or more"),
    ("channel = 1", 'capacitance = "1 F/m"', RAIL, "capacitance", "no unit of capacitance", "1 nF"),
    ("channel = 1", 'capacitance = "1 nF"\ncapacitance_pF = 1000', RAIL, "capacitance",
     "capacitance_pF says it too", "one of the two"),
    ("channel = 1", 'operation = "siving"', RAIL, "operation", "not known", "mean sieving?"),
    ("channel = 1", "operation = 3", RAIL, "operation", "3 is not known", "one of sieving"),
    *(
        ("channel = 1", f"rated_flow = {value}", RAIL, "rated_flow", wrong, right)
        for value, wrong, right in [
            ("800", "800 is not in quotes", 'such as "800 L/min"'),
            ('"800"', "'800' has no unit", 'such as "800 L/min"'),
            ('""', "'' is no number with a unit", 'such as "800 L/min"'),
            ('"0 L/min"', "'0 L/min' is too small", "above 0"),
            ('"-1 L/min"', "'-1 L/min' is too small", "above 0"),
            ('"1e30 L/min"', "'1e30 L/min' is too large", "a rate of flow"),
            ('"800 GPM"', "'GPM' is no known unit", "did you mean gal/min"),
            ('"800 L"', "'L' is no rate of flow", "a volume rate, such as L/min"),
            ('"2 t/h"', "'t/h' is a rate of mass, but the product is a liquid", "a volume rate"),
        ]
    ),
    ('product = "toluene"', 'rated_flow = "2 t/h"', RAIL, "rated_flow",
     "'2 t/h' is a rate of mass, but the flow point is not", "a rate of volume"),
    ("channel = 1", "limit_ohm = 1e6", RAIL, "limit_ohm", "open_ohm 100000.0 is not above", "well"),
    ("channel = 1", "open_ohm = 9", RAIL, "open_ohm", "is not above limit_ohm 10.0", "well above"),
    ("channel = 2", "channel = 1", BAG, "channel", f"channel 1 of unit M1 already watches {RAIL}",
     "a channel of its own"),
    ('product = "toluene"', 'product = "tolune"', RAIL, "product", "there is no [product.tolune]",
     "did you mean toluene?"),
    ('product = "toluene"', 'product = "water"', RAIL, "product", "there is no [product.water]",
     "such a table, or no product"),
    ('product = "toluene"', 'product = "flour"', RAIL, "points.flow.unit",
     "rate of volume, but the product is a powder", "mass rate"),
    ("[station.points]\nstatus", "points = 3\n#", BAG, "points", "3 is no table",
     "[station.points]"),
]  # fmt: skip
NAMED = "1 to 60 printable characters"
GROUPS: list[Case] = [
    ("channel = 1", f"{key} = {value}", RAIL, key, wrong, NAMED)
    for key in ("area", "position")
    for value, wrong in [
        ('""', "'' is empty"),
        ('" "', "' ' does not fit"),
        ('"Quay "', "'Quay ' does not fit"),
        ('"a\\u202eb"', r"'a\u202eb' does not fit"),
        (f'"{"x" * 61}"', "is too long"),
        ("3", "3 is not in quotes"),
        ('["Quay"]', "does not fit"),
    ]
]
EARLY, NIGHT = "[[shift]] early", "[[shift]] night"
BEGIN, END = 'a time in quotes from "00:00" to "23:59"', 'a time in quotes from "00:00" to "24:00"'
DAYS = "a list of days, each once, of mon, tue"
SHIFTS: list[Case] = [
    ('name = "early"', "", "[[shift]] number 1", "name", "missing", NAMED),
    ('"early"', '""', "[[shift]] number 1", "name", "'' is empty", NAMED),
    ('"early"', f'"{"x" * 61}"', "[[shift]] number 1", "name", "is too long", NAMED),
    ('"early"', '"a\\nb"', "[[shift]] number 1", "name", "does not fit", NAMED),
    ('"early"', '"night"', NIGHT, "name", "number 2 has the name of shift number 1", "of its own"),
    ('from = "06:00"', "", EARLY, "from", "missing", BEGIN),
    ('to = "14:00"', "", EARLY, "to", "missing", END),
    *(
        ('from = "06:00"', f"from = {value}", EARLY, "from", wrong, BEGIN)
        for value, wrong in [
            ('"24:00"', "'24:00' does not fit"),
            ('"6:00"', "'6:00' does not fit"),
            ('"06:60"', "'06:60' does not fit"),
            ('"06:00:30"', "'06:00:30' does not fit"),
            ('"06:00\\n"', "does not fit"),
            ('"\\u0660\\u0666:00"', "does not fit"),
            ('"6 am"', "'6 am' does not fit"),
            ('""', "'' does not fit"),
            ("6", "6 is not in quotes"),
            ("6.5", "6.5 is not in quotes"),
            ("true", "true does not fit"),
            ("06:00:30", "06:00:30 does not fit"),
            ("06:00:00.5", "06:00:00.500000 does not fit"),
            ("2026-03-01", "2026-03-01 does not fit"),
            ("2026-03-01T06:00:00Z", "does not fit"),
            ('["06:00"]', "a list does not fit"),
        ]
    ),
    ('to = "14:00"', 'to = "24:01"', EARLY, "to", "'24:01' does not fit", END),
    ('to = "14:00"', 'to = "06:00"', EARLY, "to", "from and to are both 06:00",
     'from = "00:00" and to = "24:00" for a whole day'),
    *(
        ('days = ["mon", "sun"]', f"days = {value}", NIGHT, "days", wrong, DAYS)
        for value, wrong in [
            ("[]", "the list is empty"),
            ('["mon", "tue", "mon"]', "says a thing twice"),
            ('["mon", "mon", "mon", "mon", "mon", "mon", "mon", "mon"]', "the list is too long"),
            ('["Mon"]', "'Mon' is not known"),
            ('["monday"]', "'monday' is not known"),
            ("[0]", "0 is not known"),
            ("[[]]", "a list is not known"),
            ('"mon"', "'mon' is no list"),
        ]
    ),
    ("days =", "day =", NIGHT, "day", "unknown key", "did you mean days?"),
    ('from = "06:00"', 'from = "06:00"\nbegin = 1', EARLY, "begin", "unknown key",
     "one of name, from, to, days"),
    ('to = "06:00"', 'to = "06:01"', NIGHT, "from",
     f"22:00 to 06:01 overlaps {EARLY} (06:00 to 14:00) on mon, tue", "before the next begins"),
    ('from = "22:00"', 'from = "13:59"', NIGHT, "from",
     f"13:59 to 06:00 overlaps {EARLY} (06:00 to 14:00) on mon, sun", "before the next begins"),
    ('to = "14:00"', 'to = "24:00"', NIGHT, "from",
     f"22:00 to 06:00 overlaps {EARLY} (06:00 to 24:00) on mon, sun", "before the next begins"),
    ("[alarms]", "[[alarms]]", "[alarms]", "", "double brackets", "one table [alarms]"),
]  # fmt: skip
ALARMS: list[Case] = [
    ("stale_h = 24", written, "[alarms]", written.split()[0], wrong, right)
    for written, wrong, right in [
        ("stale_h = 0", "0 is too small", "a number above 0, e.g. 24.0"),
        ("stale_h = 1e6", "is too large", "up to"),
        ("stale_h = nan", "not a finite number", "e.g. 24.0"),
        ("fleeting_s = -1", "-1 is negative", "above 0, e.g. 10.0"),
        ("chattering_s = 0", "0 is too small", "above 0, e.g. 60.0"),
        ("chattering_count = 1", "1 is too small", "of 2 or more, e.g. 3"),
        ("chattering_count = 2.5", "not a whole number", "a whole number of 2 or more"),
        ("flood_ends_below = 0", "0 is too small", "of 1 or more, e.g. 5"),
        ("flood_ends_below = 11", "11 is too large", "up to 10"),
        ("flood_begins = 10", "10 is not known", "one of above_10, 10_or_more"),
        ('flood_windows = "slidin"', "'slidin' is not known", "did you mean sliding?"),
        ("flood_window = 3", "unknown key", "did you mean flood_windows?"),
        ("zzz = 3", "unknown key", "one of flood_begins, flood_ends_below"),
    ]
]
HAZARD: list[Case] = [
    ("leakage_typical_ohm = 1e9", written, "[hazard]", written.split()[0], wrong, right)
    for written, wrong, right in [
        ("leakage_typical_ohm = 0", "0 is too small", "a number above 0, e.g. 1000000000.0"),
        ("leakage_typical_ohm = inf", "not a finite number", "a number above 0"),
        ('leakage_typical_ohm = "1 Gohm"', "'1 Gohm' is no number", "a number above 0"),
        ("leakage_high_ohm = -1", "-1 is negative", "a number above 0, e.g. 1000000000000.0"),
        ("leakage_high_ohm = 1e8", "is below leakage_typical_ohm 1000000000.0", "or left out"),
        ('streaming_form = "shon"', "'shon' is not known", "did you mean schon?"),
        ("streaming_form = 1", "1 is not known", "one of spread, schon, iec_60079_32_1"),
        ("streaming = 1", "unknown key", "did you mean streaming_form?"),
        ("zzz = 1", "unknown key", "one of streaming_form, leakage_typical_ohm"),
    ]
] + [("[hazard]", "[[hazard]]", "[hazard]", "", "double brackets", "one table [hazard]")]
RETENTION: list[Case] = [
    ("[hazard]", f"[retention]\n{written}\n[hazard]", "[retention]", written.split()[0], *told)
    for written, *told in [
        ("readings_days = 0", "0 is too small", "of 1 or more"),
        ("readings_days = 36501", "36501 is too large", "up to 36500"),
        ("readings_days = 365.5", "not a whole number", "e.g. 1100"),
        ('readings_days = "1 year"', "'1 year' is no", "a whole number"),
        ("readings_day = 1", "unknown key", "did you mean readings_days?"),
    ]
]
SPARKPLUG: list[Case] = [
    ("[hazard]", f"[sparkplug]\n{written}\n[hazard]", "[sparkplug]", written.split()[0], *told)
    for written, *told in [
        ('groups = "plant"', "'plant' is no list", 'such as ["plant"]'),
        ("groups = [1]", "1 is not in quotes", "a list"),
        ('groups = [""]', "'' is empty", "a list"),
        ('groups = ["a/b"]', "'a/b' does not fit", "without / + #"),
        ('groups = ["#"]', "'#' does not fit", "without / + #"),
        ('groups = ["+"]', "'+' does not fit", "without / + #"),
        ('groups = ["a", "a"]', "the list says a thing twice", "each once"),
        ('group = ["a"]', "unknown key", "did you mean groups?"),
    ]
]
REPORT = "[[report]] number 1"
REPORTS: list[Case] = [
    ('every = "weekly"', "", REPORT, "every", "missing", "one of weekly, monthly"),
    ('every = "weekly"', 'every = "daily"', REPORT, "every", "'daily' is not known", "one of"),
    ('every = "weekly"', 'every = "week"', REPORT, "every", "not known", "did you mean weekly?"),
    ('folder = "reports"', "", REPORT, "folder", "missing", 'such as "reports"'),
    ('folder = "reports"', 'folder = ""', REPORT, "folder", "'' is empty", "a path"),
    ('folder = "reports"', 'folder = "a\\u0000b"', REPORT, "folder", "does not fit", "a path"),
    ('folder = "reports"', 'folder = "reports"\nformat = "pdf"', REPORT, "format",
     "'pdf' is not known", "one of html, xlsx, csv, json"),
    ('folder = "reports"', 'folder = "reports"\nby = "hour"', REPORT, "by",
     "'hour' is not known", "one of day, week, month"),
    ('folder = "reports"', 'folder = "reports"\nto = "x"', REPORT, "to", "unknown key",
     "one of every, folder, format, by"),
    ('folder = "reports"', 'folder = "reports"\n[[report]]\nevery = "weekly"\n'
     'format = "html"\nfolder = "reports"', "[[report]] number 2", "folder",
     f"{REPORT} already writes the same weekly files there", "a folder of its own"),
]  # fmt: skip
POINTS: list[Case] = [
    ("flow =", "flw =", RAIL, "points.flw", "unknown role", "(did you mean flow?)"),
    ("flow =", "level =", RAIL, "points.level", "unknown role", "one of resistance, status"),
    ("flow =", "Flow =", RAIL, "points.Flow", "unknown role", "(did you mean flow?)"),
    ("status = {", 'bypass = "KEY"\nstatus = {', BAG, "points.bypass", "'KEY' is no table",
     "{ alias = ["),
    ('alias = ["FT-101"]', 'alias = "FT-101"', RAIL, "points.flow.alias", "'FT-101' is no list",
     'such as ["FT-101"]'),
    ("FT-101", "", RAIL, "points.flow.alias", "'' is empty", "a list"),
    ("FT-101", " FT-101", RAIL, "points.flow.alias", "' FT-101' does not fit", "without blanks"),
    ("FT-101", "FT-101 ", RAIL, "points.flow.alias", "'FT-101 ' does not fit", "without blanks"),
    ("FT-101", "FT\\u0000", RAIL, "points.flow.alias", r"'FT\x00' does not fit", "a list"),
    ("FT-101", "x" * 257, RAIL, "points.flow.alias", "is too long", "a list"),
    ('"FT-101"', "101", RAIL, "points.flow.alias", "101 is not in quotes", "a list"),
    ('["FT-101"]', f"[{'1,' * 101}]", RAIL, "points.flow.alias", "list is too long", "most 100"),
    ("FT-101", "M1/1", RAIL, "points.flow.alias", "already belongs to resistance of", "one point"),
    ("M1/2", "M1/1", BAG, "points.status.alias", f"already belongs to resistance of {RAIL}",
     "one point"),
    ("M1/2", "rail-1.flow", BAG, "points.status.alias", f"already belongs to flow of {RAIL}",
     "one point"),
    ("M1/1", "bag-1.status", RAIL, "points.resistance.alias", f"belongs to status of {BAG}",
     "one point"),
    ("stale_after_s = 60", "stale_after_s = -1", RAIL, "points.flow.stale_after_s",
     "-1 is negative", "0.001 or more, e.g. 7200"),
    ("stale_after_s = 60", "zzz = 1", RAIL, "points.flow.zzz", "unknown key",
     "one of alias, unit, stale_after_s, interval_s"),
    ("stale_after_s = 60", "interval_s = 0", RAIL, "points.flow.interval_s", "0 is too small",
     "above 0, e.g. 1.0"),
    ("stale_after_s = 60", 'interval_s = "1 s"', RAIL, "points.flow.interval_s",
     "'1 s' is no number", "above 0, e.g. 1.0"),
    ('unit = "ohm"', 'unit = "L/min"', RAIL, "points.resistance.unit", "no unit of resistance",
     "ohm, kohm or Mohm"),
    ('unit = "ohm"', "unit = 3", RAIL, "points.resistance.unit", "3 is not in quotes", "a unit"),
    ('"m3/h"', '"t/h"', RAIL, "points.flow.unit", "rate of mass, but the product is a liquid",
     "a volume rate, such as L/min"),
    ('["M1/2"]', '["M1/2"], unit = "V"', BAG, "points.status.unit", "status has no unit, but 'V'",
     "this key left out"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("old", "new", "table", "key", "wrong", "right"),
    SITE
    + LIMITS
    + ALARMS
    + HAZARD
    + RETENTION
    + SPARKPLUG
    + SHIFTS
    + REPORTS
    + PRODUCTS
    + STATIONS
    + GROUPS
    + POINTS,
)
def test_one_mistake_is_one_problem_that_names_its_place(
    old: str, new: str, table: str, key: str, wrong: str, right: str
) -> None:
    assert old in GOOD
    (problem,) = problems_of(GOOD.replace(old, new, 1))
    assert (problem.table, problem.key) == (table, key)
    assert wrong in problem.wrong
    assert right in problem.right


@pytest.mark.parametrize(
    ("site_wide", "own", "keys"),
    [
        pytest.param("limit_ohm = -3\nopen_ohm = 1.0", "", ["limit_ohm"], id="limit-faulty"),
        pytest.param("limit_ohm = 1e6\nopen_ohm = nan", "", ["open_ohm"], id="open-faulty"),
        pytest.param("limit_ohm = -3", "open_ohm = 1.0", ["limit_ohm"], id="site-wide-faulty"),
        pytest.param(
            "limit_ohm = 1", "limit_ohm = -3\nopen_ohm = 1", ["limit_ohm"], id="own-faulty"
        ),
        pytest.param(
            "limit_ohm = -3",
            "limit_ohm = 5\nopen_ohm = 1",
            ["limit_ohm", "open_ohm"],
            id="own-both",
        ),
    ],
)
def test_a_faulty_limit_is_not_compared_with_the_default_that_stands_in(
    site_wide: str, own: str, keys: list[str]
) -> None:
    text = GOOD.replace("limit_ohm = 10.0", site_wide).replace("channel = 1", f"channel = 1\n{own}")
    assert [problem.key for problem in problems_of(text)] == keys


@pytest.mark.parametrize(
    ("early", "night", "keys"),
    [
        pytest.param('to = "25:00"', 'from = "13:00"', ["to"], id="end-faulty"),
        pytest.param('to = "14:00"\ndays = []', 'from = "13:00"', ["days"], id="days-faulty"),
        pytest.param('to = "14:00"\nzzz = 1', 'from = "13:00"', ["zzz", "from"], id="still-whole"),
        pytest.param('to = "06:00"', 'from = "13:00"', ["to"], id="no-length"),
    ],
)
def test_a_shift_whose_hours_are_faulty_is_not_compared(
    early: str, night: str, keys: list[str]
) -> None:
    text = GOOD.replace('to = "14:00"', early).replace('from = "22:00"', night)
    assert [problem.key for problem in problems_of(text)] == keys


def test_every_two_shifts_that_overlap_are_told() -> None:
    days = '[[shift]]\nname = "day {}"\nfrom = "07:00"\nto = "08:00"\n'
    more = days.format(1) + days.format(2) + "[product.toluene]"
    told = [problem.wrong for problem in problems_of(GOOD.replace("[product.toluene]", more))]
    assert [wrong.partition("overlaps ")[2].partition(" (")[0] for wrong in told] == [
        EARLY,
        EARLY,
        "[[shift]] day 1",
    ]


@pytest.mark.parametrize(
    ("table", "wrong"),
    [("[[shift]]", "there are 1002 shifts"), ("[[report]]", "there are 1001 reports")],
)
def test_there_are_so_many_shifts_and_reports_at_most(table: str, wrong: str) -> None:
    text = GOOD.replace("[product.toluene]", f"{table}\n" * 1000 + "[product.toluene]")
    (problem,) = problems_of(text)
    assert (problem.table, problem.wrong, problem.right) == (table, wrong, "at most 50")


def test_every_problem_of_a_file_is_told_at_once() -> None:
    text = """\
schema = 2
colour = "red"
[site]
id = "a b"
timezone = "Mars/Base"
[limits]
limit_ohm = -3
open_ohm = "far"
[alarms]
fleeting_s = 0
[hazard]
streaming_form = "mine"
leakage_high_ohm = 0
[[shift]]
name = "early"
to = 14
days = ["mon", "mon"]
[[shift]]
name = "early"
from = "06:00"
to = "06:00"
[report]
every = "daily"
[product.flour]
phase = "powdr"
charge = "much"
mie = "15 mJ"
mie_mJ = 15
[[station]]
id = "s-1"
kind = "drumm"
unit = "M1"
channel = 1
product = "sugar"
pipe_length = "20"
capacitance = 1
operation = "pumping"
rated_flow = "fast"
limit_ohm = 1e6
open_ohm = 1e5
[station.points]
flw = {}
resistance = { alias = ["A", " b"], unit = "bananas" }
permissive = { stale_after_s = 0, unit = "V", interval_s = -1 }
[[station]]
id = "s-1"
name = "Again"
kind = "drum"
unit = "M1"
channel = 1
[station.points]
status = { alias = ["A"] }
"""
    s1 = "[[station]] s-1"
    assert {(problem.table, problem.key) for problem in problems_of(text)} == {
        ("", "schema"),
        ("", "colour"),
        ("[site]", "id"),
        ("[site]", "name"),
        ("[site]", "timezone"),
        ("[limits]", "limit_ohm"),
        ("[limits]", "open_ohm"),
        ("[alarms]", "fleeting_s"),
        ("[hazard]", "streaming_form"),
        ("[hazard]", "leakage_high_ohm"),
        (EARLY, "from"),
        (EARLY, "to"),
        (EARLY, "days"),
        (EARLY, "name"),
        ("[report]", ""),
        (REPORT, "every"),
        (REPORT, "folder"),
        (FLOUR, "phase"),
        (FLOUR, "charge"),
        (FLOUR, "mie"),
        (s1, "id"),
        (s1, "name"),
        (s1, "kind"),
        (s1, "channel"),
        (s1, "product"),
        (s1, "pipe_length"),
        (s1, "capacitance"),
        (s1, "operation"),
        (s1, "rated_flow"),
        (s1, "open_ohm"),
        (s1, "points.flw"),
        (s1, "points.resistance.alias"),
        (s1, "points.resistance.unit"),
        (s1, "points.permissive.stale_after_s"),
        (s1, "points.permissive.unit"),
        (s1, "points.permissive.interval_s"),
        (s1, "points.status.alias"),
    }


@pytest.mark.parametrize(
    ("text", "places"),
    [
        pytest.param("", {("", "schema"), ("[site]", ""), ("[[station]]", "")}, id="empty-file"),
        pytest.param(GOOD.partition("[[station]]")[0], {("[[station]]", "")}, id="no-stations"),
        pytest.param(
            GOOD.partition("[[station]]")[0] + "[station]\n",
            {("[station]", "")} | {("[[station]] number 1", key) for key in ("id", "name", "kind")},
            id="single-brackets",
        ),
        pytest.param(
            "schema = 1\nstation = 3\nsite = 1\nproduct = 'x'\nlimits = [1]\nalarms = 3\n"
            "hazard = 3\nshift = 'early'\nreport = 2026-03-01",
            {("[site]", ""), ("[product]", ""), ("[limits]", ""), ("[[station]]", "")}
            | {("[alarms]", ""), ("[hazard]", ""), ("[[shift]]", ""), ("[[report]]", "")},
            id="no-tables-where-tables-belong",
        ),
        pytest.param(
            "station = [1]\n" + GOOD.partition("[[station]]")[0],
            {("[[station]] number 1", "")},
            id="a-list-that-is-no-table",
        ),
        pytest.param(
            "shift = [1]\nreport = ['weekly']\n"
            + GOOD.partition("[[shift]]")[0]
            + "[product.toluene]"
            + GOOD.partition("[product.toluene]")[2],
            {("[[shift]] number 1", ""), ("[[report]] number 1", "")},
            id="lists-that-are-no-shifts-and-reports",
        ),
    ],
)
def test_missing_tables_are_told(text: str, places: set[tuple[str, str]]) -> None:
    assert {(problem.table, problem.key) for problem in problems_of(text)} == places


@pytest.mark.parametrize(
    ("text", "line", "wrong"),
    [
        pytest.param("schema = 1\nid = rail-1\n", 2, "Invalid value", id="no-quotes"),
        pytest.param("schema = 1\nhold_s = 1,5\n", 2, "column 11", id="decimal-comma"),
        pytest.param("\n\nschema\n", 3, "'='", id="no-value"),
        pytest.param("schema = 1\nschema = 2\n", 2, "stands twice", id="key-twice"),
        pytest.param("[site]\n[limits]\n[site]\n", 3, "stands twice", id="table-twice"),
        pytest.param('a = 1\nb = "open', 2, "at the end of the file", id="text-without-end"),
        pytest.param("a = 1\nb = [1,\n2,\n", 3, "at the end of the file", id="list-without-end"),
        pytest.param("a = 1\nb\0 = 2\n", 2, "not TOML", id="nul"),
        pytest.param("a = 1\rb = 2\r", 1, "not TOML", id="lone-carriage-returns"),
        pytest.param("schema: 1\n", 1, "not TOML", id="another-format"),
        pytest.param("a = 1\n" + "x" * 20_000, 2, "a very long line", id="endless-line"),
        pytest.param("a." * 500_000 + "a = 1", 1, "a very long line", id="endless-key"),
    ],
)
def test_what_is_no_toml_names_the_line(text: str, line: int, wrong: str) -> None:
    (problem,) = problems_of(text)
    assert problem.line == line
    assert wrong in problem.wrong
    assert str(problem).startswith(f"line {line}: ")


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        pytest.param("a = " + "[" * 8000, "nested too deep", id="deep-list"),
        pytest.param("a = " + "{ b = " * 2000, "nested too deep", id="deep-table"),
        pytest.param(f"a = {'9' * 5000}", "very many digits", id="endless-number"),
        pytest.param("#\n" * 2_200_000, "larger than 4 MiB", id="endless-file"),
    ],
)
def test_hostile_text_is_refused(text: str, wrong: str) -> None:
    (problem,) = problems_of(text)
    assert wrong in problem.wrong


@pytest.mark.parametrize(
    "written",
    [
        pytest.param(f"schema = 0x{'f' * 9000}", id="number-too-long-to-print"),
        pytest.param(f"[site]\nid.{'a.' * 5000}a = 1", id="deep-dotted-key"),
        pytest.param(f'"{"k" * 9000}" = 1', id="endless-name"),
        pytest.param('"a\\nb\\u001b[31m" = 1', id="control-characters-in-a-name"),
        pytest.param(f'[product."{"k" * 9000}"]', id="endless-product"),
        pytest.param(f'[[station]]\nproduct = "{"k" * 9000}"', id="product-too-long"),
        pytest.param(f'[[station]]\nid = "x"\nkind = "{"k" * 9000}"', id="kind-too-long"),
        pytest.param('[[station]]\nid = "x"\npoints."a\\nb" = {}', id="newline-in-a-role"),
        pytest.param(f'[[station]]\npoints.flow.unit = "{"k" * 9000}"', id="unit-too-long"),
        pytest.param('[[station]]\npoints.flow.unit = "a\\nb"', id="newline-in-a-unit"),
        pytest.param(f'[[shift]]\nname = "{"k" * 9000}"', id="shift-too-long"),
        pytest.param('[[shift]]\nname = "a\\nb"\nfrom = "\\u001b[31m"', id="newline-in-a-shift"),
        pytest.param(f'[[shift]]\nname = "a"\ndays = ["{"k" * 9000}"]', id="day-too-long"),
        pytest.param(f'[[report]]\nevery = "{"k" * 9000}"', id="report-too-long"),
        pytest.param(f'[alarms]\nflood_begins = "{"k" * 9000}"', id="word-too-long"),
    ],
)
def test_hostile_value_is_quoted_short_and_on_one_line(written: str) -> None:
    with pytest.raises(SiteError) as caught:
        parse_site(written, "site.toml")
    lines = str(caught.value).split("\n")
    assert len(lines) == len(caught.value.problems)
    assert all(line.startswith("site.toml") and line.isprintable() for line in lines)
    assert max(map(len, lines)) < 300


def test_more_problems_than_anyone_reads_are_counted() -> None:
    many = "".join(f"key{number} = 1\n" for number in range(MOST + 50))
    listed = problems_of(f"[limits]\n{many}")
    assert len(listed) == MOST + 1
    assert listed[-1].wrong == "and 53 more problems"  # schema, [site] and the stations besides


@pytest.mark.parametrize(
    ("content", "wrong"),
    [
        pytest.param(b"schema = 1\nname = 'caf\xe9'\n", "line 2: not UTF-8 text", id="latin-1"),
        pytest.param("schema = 1".encode("utf-16"), "UTF-16 text", id="utf-16"),
        pytest.param(bytes(range(256)), "not UTF-8 text", id="binary"),
        pytest.param(b"#" * (2**22 + 1), "larger than 4 MiB", id="too-large"),
        pytest.param(None, "cannot be read (No such file or directory)", id="absent"),
    ],
)
def test_file_that_cannot_be_read_says_why(
    tmp_path: Path, content: bytes | None, wrong: str
) -> None:
    path = tmp_path / "site.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(SiteError) as caught:
        load_site(path)
    assert str(caught.value).startswith(str(path))
    assert wrong in str(caught.value)


@pytest.mark.parametrize("name", [".", "a\0b"])
def test_path_that_is_no_file_says_so(tmp_path: Path, name: str) -> None:
    with pytest.raises(SiteError, match="cannot be read"):
        load_site(tmp_path / name)


def test_error_is_one_line_a_problem_each_naming_the_file() -> None:
    with pytest.raises(SiteError) as caught:
        parse_site(GOOD.replace("10.0", "-3").replace("flow =", "flw =", 1), "quay.toml")
    assert str(caught.value).splitlines() == [
        "quay.toml [limits] limit_ohm: -3 is negative: expected a number above 0, e.g. 10.0",
        "quay.toml [[station]] rail-1 points.flw: unknown role: expected one of resistance, "
        "status, permissive, flow, running, bypass (did you mean flow?)",
    ]
    assert caught.value.source == "quay.toml"


@pytest.mark.parametrize(
    ("problem", "text"),
    [
        (Problem("[limits]", "hold_s", "-1 is negative", "0"), "[limits] hold_s: -1 is negative"),
        (Problem("", "zone", "unknown key", "did you mean site?"), "zone: unknown key: did you"),
        (Problem("", "", "larger than 4 MiB", "a site file"), "larger than 4 MiB: expected a"),
        (Problem("", "", "not TOML", "TOML", 7), "line 7: not TOML: expected TOML"),
    ],
)
def test_problem_reads_as_place_then_wrong_then_right(problem: Problem, text: str) -> None:
    assert str(problem).startswith(text)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (True, "true"),
        (3, "3"),
        (2**64, "a number of very many digits"),
        (-0.5, "-0.5"),
        ("a\tb", r"'a\tb'"),
        ("x" * 60, repr("x" * 60)),
        ("x" * 61, repr("x" * 57 + "...")),
        ({"a": 1}, "a table"),
        ([1, 2], "a list"),
    ],
)
def test_values_are_shown_short(value: object, text: str) -> None:
    assert shown(value) == text


@pytest.mark.parametrize(
    ("word", "known", "expected"),
    [
        ("HOLD_S", ["hold_s", "limit_ohm"], "hold_s"),
        ("zzz", ["hold_s"], None),
        ("", ["hold_s"], None),
        ("hold_s", [], None),
        (3, ["hold_s"], None),
        ("h" * 5000, ["h" * 5000], None),
    ],
)
def test_meant_is_the_likest_word(word: object, known: list[str], expected: str | None) -> None:
    assert meant(word, known) == expected


def test_no_problem_is_an_empty_list() -> None:
    assert Problems().listed() == []


JARGON = ("pydantic", "validation error", "http", "Input should", "type=", "Traceback", "None")
LITERALS = """0 -1 3 1e308 -0.0 nan inf true 1979-05-27 07:32:00 [] {} [1] [[]] '' 'a' 'rail-1'
06:00:00 '24:00' '06:00' ['mon'] ['mon','mon'] 'early' 'monthly'
'ohm' '1 mJ' '2e3L/min' 'M1/1' 'rail-1.flow' 'powder' 'drum' 'flour' {alias=['M1/1']} {a={a={a=1}}}
99999999999999999999999999"""


@given(
    st.lists(
        st.tuples(st.integers(0, GOOD.count("\n") - 1), st.sampled_from(["", *LITERALS.split()])),
        min_size=1,
        max_size=4,
    )
)
def test_any_values_give_a_site_or_plain_problems(changes: list[tuple[int, str]]) -> None:
    lines = GOOD.splitlines()
    for number, literal in changes:
        key, equals, _ = lines[number].partition("=")
        lines[number] = f"{key}={literal}" if equals and literal else ""
    _assert_site_or_plain_problems("\n".join(lines))


@given(st.text(max_size=200))
def test_any_text_gives_a_site_or_plain_problems(text: str) -> None:
    _assert_site_or_plain_problems(text)


def _assert_site_or_plain_problems(text: str) -> None:
    error = _error_of(text)
    if error is not None:
        assert error.problems
        assert all(problem.wrong and problem.right for problem in error.problems)
        assert not [word for word in JARGON if word in str(error)]


def _error_of(text: str) -> SiteError | None:
    try:
        assert isinstance(parse_site(text, "site.toml"), Site)
    except SiteError as error:
        return error
    return None
