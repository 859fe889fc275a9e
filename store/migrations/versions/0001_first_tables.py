"""The first tables: points, blocks of samples, inputs, results and marks."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "damaged_segment",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("point_id", sa.BigInteger(), nullable=False),
        sa.Column("first_ns", sa.BigInteger(), nullable=False),
        sa.Column("last_ns", sa.BigInteger(), nullable=False),
        sa.Column("samples", sa.BigInteger(), nullable=False),
        sa.Column("checksum", sa.BigInteger(), nullable=False),
        sa.Column("block", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sqlite_autoincrement=True,
    )
    op.create_index(
        "damaged_segment_last", "damaged_segment", ["point_id", "last_ns"], unique=False
    )
    op.create_table(
        "day",
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("transfers", sa.BigInteger(), nullable=False),
        sa.Column("compliant_transfers", sa.BigInteger(), nullable=False),
        sa.Column("flow_s", sa.Float(precision=53), nullable=False),
        sa.Column("not_bonded_s", sa.Float(precision=53), nullable=False),
        sa.Column("no_data_s", sa.Float(precision=53), nullable=False),
        sa.Column("bypassed_s", sa.Float(precision=53), nullable=False),
        sa.Column("volume", sa.Float(precision=53), nullable=False),
        sa.Column("hookups", sa.BigInteger(), nullable=False),
        sa.Column("failed_hookups", sa.BigInteger(), nullable=False),
        sa.Column("touches", sa.BigInteger(), nullable=False),
        sa.Column("low_s", sa.Float(precision=53), nullable=False),
        sa.Column("high_s", sa.Float(precision=53), nullable=False),
        sa.Column("open_s", sa.Float(precision=53), nullable=False),
        sa.Column("known_s", sa.Float(precision=53), nullable=False),
        sa.Column("unknown_s", sa.Float(precision=53), nullable=False),
        sa.Column("trips", sa.Text(), nullable=False),
        sa.Column("findings", sa.Text(), nullable=False),
        sa.Column("alarms", sa.Text(), nullable=False),
        sa.Column("time_to_bond", sa.Text(), nullable=False),
        sa.Column("time_to_stop", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("station", "day"),
    )
    op.create_index("day_anywhere", "day", ["day"], unique=False)
    op.create_table(
        "month",
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("month", sa.Date(), nullable=False),
        sa.Column("transfers", sa.BigInteger(), nullable=False),
        sa.Column("compliant_transfers", sa.BigInteger(), nullable=False),
        sa.Column("flow_s", sa.Float(precision=53), nullable=False),
        sa.Column("not_bonded_s", sa.Float(precision=53), nullable=False),
        sa.Column("no_data_s", sa.Float(precision=53), nullable=False),
        sa.Column("bypassed_s", sa.Float(precision=53), nullable=False),
        sa.Column("volume", sa.Float(precision=53), nullable=False),
        sa.Column("hookups", sa.BigInteger(), nullable=False),
        sa.Column("failed_hookups", sa.BigInteger(), nullable=False),
        sa.Column("touches", sa.BigInteger(), nullable=False),
        sa.Column("low_s", sa.Float(precision=53), nullable=False),
        sa.Column("high_s", sa.Float(precision=53), nullable=False),
        sa.Column("open_s", sa.Float(precision=53), nullable=False),
        sa.Column("known_s", sa.Float(precision=53), nullable=False),
        sa.Column("unknown_s", sa.Float(precision=53), nullable=False),
        sa.PrimaryKeyConstraint("station", "month"),
    )
    op.create_table(
        "tally",
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("part", sa.BigInteger(), nullable=False),
        sa.Column("critical", sa.BigInteger(), nullable=False),
        sa.Column("major", sa.BigInteger(), nullable=False),
        sa.Column("minor", sa.BigInteger(), nullable=False),
        sa.Column("genuine", sa.BigInteger(), nullable=False),
        sa.Column("nuisance", sa.BigInteger(), nullable=False),
        sa.Column("undetermined", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("station", "part"),
    )
    op.create_table(
        "finding",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("severity", sa.Text(), nullable=False),
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("transfer", sa.Text(), nullable=True),
        sa.Column("start_ns", sa.BigInteger(), nullable=False),
        sa.Column("end_ns", sa.BigInteger(), nullable=False),
        sa.Column("seconds", sa.Float(precision=53), nullable=False),
        sa.Column("summary", sa.Text(), nullable=False),
        sa.Column("evidence", sa.Text(), nullable=False),
        sa.Column("limits", sa.Text(), nullable=False),
        sa.Column("rules", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("finding_start", "finding", ["station", "start_ns", "severity"], unique=False)
    op.create_index(
        "finding_anywhere", "finding", ["start_ns", "station", "severity"], unique=False
    )
    op.create_index("finding_transfer", "finding", ["transfer"], unique=False)
    op.create_index(
        "finding_long",
        "finding",
        ["end_ns", "start_ns", "station", "severity"],
        unique=False,
        sqlite_where=sa.text("seconds > 3600"),
        postgresql_where=sa.text("seconds > 3600"),
    )
    op.create_table(
        "hookup",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("start_ns", sa.BigInteger(), nullable=False),
        sa.Column("end_ns", sa.BigInteger(), nullable=False),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("time_to_bond_s", sa.Float(precision=53), nullable=True),
        sa.Column("lowest_ohm", sa.Float(precision=53), nullable=True),
        sa.Column("median_ohm", sa.Float(precision=53), nullable=True),
        sa.Column("cause", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("hookup_start", "hookup", ["station", "start_ns"], unique=False)
    op.create_table(
        "journal",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("first_ns", sa.BigInteger(), nullable=False),
        sa.Column("last_ns", sa.BigInteger(), nullable=False),
        sa.Column("samples", sa.BigInteger(), nullable=False),
        sa.Column("checksum", sa.BigInteger(), nullable=False),
        sa.Column("block", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "point",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("samples", sa.BigInteger(), nullable=False),
        sa.Column("first_ns", sa.BigInteger(), nullable=True),
        sa.Column("last_ns", sa.BigInteger(), nullable=True),
        sa.Column("value", sa.Float(precision=53), nullable=True),
        sa.Column("quality", sa.Integer(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name"),
    )
    op.create_table(
        "reject",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("raw", sa.Text(), nullable=False),
        sa.Column("at_ns", sa.BigInteger(), nullable=False),
        sa.Column("count", sa.BigInteger(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("digest"),
    )
    op.create_table(
        "segment",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("point_id", sa.BigInteger(), nullable=False),
        sa.Column("first_ns", sa.BigInteger(), nullable=False),
        sa.Column("last_ns", sa.BigInteger(), nullable=False),
        sa.Column("samples", sa.BigInteger(), nullable=False),
        sa.Column("checksum", sa.BigInteger(), nullable=False),
        sa.Column("block", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sqlite_autoincrement=True,
    )
    op.create_index(
        "segment_first", "segment", ["point_id", "first_ns", "last_ns", "samples"], unique=False
    )
    op.create_index(
        "segment_last", "segment", ["point_id", "last_ns", "first_ns", "samples"], unique=False
    )
    op.create_table(
        "site",
        sa.Column("holds_from_ns", sa.BigInteger(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("holds_from_ns"),
    )
    op.create_table(
        "ticket",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("start_ns", sa.BigInteger(), nullable=False),
        sa.Column("end_ns", sa.BigInteger(), nullable=False),
        sa.Column("batch", sa.Text(), nullable=False),
        sa.Column("product", sa.Text(), nullable=False),
        sa.Column("operator", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ticket_start", "ticket", ["station", "start_ns"], unique=False)
    op.create_table(
        "touched",
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("since_ns", sa.BigInteger(), nullable=True),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("station"),
    )
    op.create_table(
        "transfer",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("start_ns", sa.BigInteger(), nullable=False),
        sa.Column("end_ns", sa.BigInteger(), nullable=False),
        sa.Column("flow_s", sa.Float(precision=53), nullable=False),
        sa.Column("volume", sa.Float(precision=53), nullable=True),
        sa.Column("unit", sa.Text(), nullable=True),
        sa.Column("batch", sa.Text(), nullable=True),
        sa.Column("product", sa.Text(), nullable=True),
        sa.Column("operator", sa.Text(), nullable=True),
        sa.Column("compliant", sa.Boolean(), nullable=False),
        sa.Column("not_bonded_s", sa.Float(precision=53), nullable=False),
        sa.Column("no_data_s", sa.Float(precision=53), nullable=False),
        sa.Column("bypassed_s", sa.Float(precision=53), nullable=False),
        sa.Column("not_bonded_volume", sa.Float(precision=53), nullable=True),
        sa.Column("no_data_volume", sa.Float(precision=53), nullable=True),
        sa.Column("bypassed_volume", sa.Float(precision=53), nullable=True),
        sa.Column("trips", sa.BigInteger(), nullable=False),
        sa.Column("time_to_bond_s", sa.Float(precision=53), nullable=True),
        sa.Column("bond_lead_s", sa.Float(precision=53), nullable=True),
        sa.Column("findings", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("transfer_start", "transfer", ["station", "start_ns"], unique=False)
    op.create_table(
        "trip",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("time_ns", sa.BigInteger(), nullable=False),
        sa.Column("transfer", sa.Text(), nullable=False),
        sa.Column("trip_class", sa.Text(), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("marginal", sa.Boolean(), nullable=False),
        sa.Column("loss_s", sa.Float(precision=53), nullable=True),
        sa.Column("stop_s", sa.Float(precision=53), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("trip_time", "trip", ["station", "time_ns"], unique=False)
    op.create_index("trip_anywhere", "trip", ["time_ns", "station", "trip_class"], unique=False)
    op.create_table(
        "work",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("start_ns", sa.BigInteger(), nullable=False),
        sa.Column("end_ns", sa.BigInteger(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("work_start", "work", ["station", "start_ns"], unique=False)
    if op.get_bind().dialect.name == "postgresql":
        for table in ("segment", "damaged_segment", "journal"):  # compressed already
            op.execute(f"alter table {table} alter column block set storage external")
