"""Sums in wide columns, by shift too and by month and year; alarms; reviews.

The sums so far lack what is new, and cannot be converted: they go, and every station is marked,
so that the next analysis fills them. Everything else stays.
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

COUNTS_AND_SECONDS = (
    ("transfers", sa.Integer()),
    ("compliant_transfers", sa.Integer()),
    ("flow_s", sa.Float(precision=53)),
    ("flow_unknown_s", sa.Float(precision=53)),
    ("not_bonded_s", sa.Float(precision=53)),
    ("no_data_s", sa.Float(precision=53)),
    ("bypassed_s", sa.Float(precision=53)),
    ("bypass_unknown_s", sa.Float(precision=53)),
    ("volume", sa.Float(precision=53)),
    ("hookups", sa.Integer()),
    ("failed_hookups", sa.Integer()),
    ("touches", sa.Integer()),
    ("low_s", sa.Float(precision=53)),
    ("high_s", sa.Float(precision=53)),
    ("open_s", sa.Float(precision=53)),
    ("known_s", sa.Float(precision=53)),
    ("unknown_s", sa.Float(precision=53)),
    ("trip_clamp_off", sa.Integer()),
    ("trip_high_resistance", sa.Integer()),
    ("trip_brief_contact_loss", sa.Integer()),
    ("trip_monitor_fault", sa.Integer()),
    ("trip_no_loss_seen", sa.Integer()),
    ("trip_no_data", sa.Integer()),
    ("finding_no_bond_transfer", sa.Integer()),
    ("finding_unbonded_start", sa.Integer()),
    ("finding_bond_lost_in_flow", sa.Integer()),
    ("finding_unverifiable_flow", sa.Integer()),
    ("finding_bypassed_flow", sa.Integer()),
    ("finding_failed_hookup", sa.Integer()),
    ("finding_nuisance_trip", sa.Integer()),
    ("finding_chattering", sa.Integer()),
    ("finding_permissive_without_bond", sa.Integer()),
    ("finding_permissive_withheld", sa.Integer()),
    ("finding_item_isolated", sa.Integer()),
    ("finding_early_release", sa.Integer()),
    ("alarm_bond_lost", sa.Integer()),
    ("alarm_item_bond_lost", sa.Integer()),
    ("alarm_monitor_fault", sa.Integer()),
    ("alarm_disagreement", sa.Integer()),
    ("alarm_bypass_on", sa.Integer()),
    ("time_to_bond", sa.Text()),
    ("time_to_stop", sa.Text()),
)

AGAINST = (
    "(kind in ('bond_lost_in_flow', 'bypassed_flow', 'no_bond_transfer', 'unbonded_start', "
    "'unverifiable_flow'))"
)

ALLOWED = "(compliant and (not_bonded_s > 0 or no_data_s > 0))"

BEGINNING = -(2**63 - 1)
"""Earlier than any sample: the whole history is to be judged. [ns]"""


def upgrade() -> None:
    mark_every_station()
    op.drop_index("day_anywhere", "day")
    op.drop_table("day")
    op.drop_table("month")
    for unit in ("day", "month", "year"):
        create_sums(unit, unit)
        create_sums(f"shift_{unit}", unit, "shift")
    told = ["station", "transfers", "compliant_transfers"]
    op.create_index("day_anywhere", "day", ["day", *told], unique=False)
    op.create_index("shift_day_anywhere", "shift_day", ["shift", "day", *told], unique=False)
    op.create_index(
        "transfer_failing",
        "transfer",
        ["start_ns", "station", "end_ns", "id"],
        unique=False,
        sqlite_where=sa.text("(not compliant)"),
        postgresql_where=sa.text("(not compliant)"),
    )
    op.create_index(
        "transfer_allowed",
        "transfer",
        ["start_ns", "station", "flow_s", "not_bonded_s", "no_data_s", "compliant"],
        unique=False,
        sqlite_where=sa.text(ALLOWED),
        postgresql_where=sa.text(ALLOWED),
    )
    op.create_index(
        "finding_against",
        "finding",
        ["start_ns", "transfer", "kind"],
        unique=False,
        sqlite_where=sa.text(AGAINST),
        postgresql_where=sa.text(AGAINST),
    )
    create_alarms()
    create_reviews()


def mark_every_station() -> None:
    """Ask for all of history: of every station with results, sums or points."""
    known = " union ".join(
        f"select station from {table}"
        for table in ("point", "transfer", "hookup", "trip", "finding", "day", "month", "touched")
    )
    # The condition that always holds keeps SQLite from reading "on conflict" as a join.
    op.execute(
        "insert into touched (station, since_ns, revision) "
        f"select station, {BEGINNING}, 1 from ({known}) as known where true "
        f"on conflict (station) do update set since_ns = {BEGINNING}, "
        "revision = touched.revision + 1"
    )


def create_sums(name: str, unit: str, *more: str) -> None:
    op.create_table(
        name,
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column(unit, sa.Date(), nullable=False),
        *(sa.Column(each, sa.Text(), nullable=False) for each in more),
        *(sa.Column(each, kind, nullable=False) for each, kind in COUNTS_AND_SECONDS),
        sa.PrimaryKeyConstraint("station", unit, *more),
    )


def create_alarms() -> None:
    op.create_table(
        "alarm",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("start_ns", sa.BigInteger(), nullable=False),
        sa.Column("end_ns", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("alarm_start", "alarm", ["station", "start_ns"], unique=False)
    op.create_index("alarm_anywhere", "alarm", ["start_ns"], unique=False)
    op.create_table(
        "alarm_part",
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("part", sa.BigInteger(), nullable=False),
        sa.Column("last_end_ns", sa.BigInteger(), nullable=False),
        sa.Column("count", sa.BigInteger(), nullable=False),
        sa.Column("kinds", sa.LargeBinary(), nullable=False),
        sa.Column("starts", sa.LargeBinary(), nullable=False),
        sa.Column("ends", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("station", "part"),
    )
    op.create_index("alarm_part_anywhere", "alarm_part", ["part", "last_end_ns"], unique=False)


def create_reviews() -> None:
    op.create_table(
        "review",
        sa.Column("number", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("at_ns", sa.BigInteger(), nullable=False),
        sa.Column("author", sa.Text(), nullable=False),
        sa.Column("finding", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("start_ns", sa.BigInteger(), nullable=False),
        sa.Column("end_ns", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("comment", sa.Text(), nullable=False),
        sa.Column("previous", sa.String(length=64), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("number"),
    )
    op.create_index("review_start", "review", ["station", "kind", "start_ns"], unique=False)
    for statement in GUARDS[op.get_bind().dialect.name]:
        op.execute(statement)


REFUSAL = "the review log is append-only"

GUARDS = {
    "sqlite": [
        f"create trigger review_no_{change} before {change} on review "
        f"begin select raise(abort, '{REFUSAL}'); end"
        for change in ("update", "delete")
    ]
    # A row put in the place of another would take that away without asking the trigger above.
    + [
        "create trigger review_no_replace before insert on review "
        "when exists (select 1 from review where number = new.number) "
        f"begin select raise(abort, '{REFUSAL}'); end"
    ],
    "postgresql": [
        "create function review_refuse() returns trigger language plpgsql as "
        f"$$ begin raise exception '{REFUSAL}'; end $$",
        "create trigger review_no_change before update or delete on review "
        "for each row execute function review_refuse()",
        "create trigger review_no_truncate before truncate on review "
        "for each statement execute function review_refuse()",
    ],
}
