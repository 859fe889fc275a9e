"""What a running service remembers: its jobs and sources, who may sign in, and what it removed."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_index("journal_last", "journal", ["last_ns", "first_ns", "samples"], unique=False)
    op.create_table(
        "job",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("started_ns", sa.BigInteger(), nullable=True),
        sa.Column("ended_ns", sa.BigInteger(), nullable=True),
        sa.Column("succeeded_ns", sa.BigInteger(), nullable=True),
        sa.Column("failures", sa.BigInteger(), nullable=False),
        sa.Column("said", sa.Text(), nullable=False),
        sa.Column("run_by", sa.Text(), nullable=False),
        sa.Column("every_s", sa.Float(precision=53), nullable=True),
        sa.PrimaryKeyConstraint("name"),
    )
    op.create_table(
        "source",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("readings", sa.BigInteger(), nullable=False),
        sa.Column("heard_ns", sa.BigInteger(), nullable=False),
        sa.Column("lag_median_s", sa.Float(precision=53), nullable=True),
        sa.Column("lag_spread_s", sa.Float(precision=53), nullable=True),
        sa.Column("lag_count", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("name"),
    )
    op.create_table(
        "given",
        sa.Column("point", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("device", sa.Text(), nullable=False),
        sa.Column("metric", sa.Text(), nullable=False),
        sa.Column("alias", sa.BigInteger(), nullable=True),
        sa.Column("datatype", sa.BigInteger(), nullable=False),
        sa.Column("session", sa.BigInteger(), nullable=True),
        sa.PrimaryKeyConstraint("point"),
    )
    op.create_table(
        "person",
        sa.Column("folded", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.Column("created_ns", sa.BigInteger(), nullable=False),
        sa.Column("changed_ns", sa.BigInteger(), nullable=False),
        sa.Column("disabled", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("folded"),
    )
    op.create_table(
        "signed_out",
        sa.Column("session", sa.Text(), nullable=False),
        sa.Column("until_ns", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("session"),
    )
    op.create_table(
        "secret",
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("value", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("number"),
    )
    op.create_table(
        "floor",
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("since_ns", sa.BigInteger(), nullable=False),
        sa.Column("context_ns", sa.BigInteger(), nullable=False),
        sa.Column("kept_ns", sa.BigInteger(), nullable=False),
        sa.Column("at_ns", sa.BigInteger(), nullable=False),
        sa.Column("removed", sa.BigInteger(), nullable=False),
        sa.Column("late", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("station"),
    )
    op.add_column("reject", sa.Column("last_at_ns", sa.BigInteger(), nullable=True))
    op.add_column("reject", sa.Column("last_time_ns", sa.BigInteger(), nullable=True))
    op.execute("update reject set last_at_ns = at_ns, last_time_ns = time_ns")
    op.drop_index("reject_time", "reject")
    op.create_index(
        "reject_last_time", "reject", ["point", "last_time_ns", "time_ns"], unique=False
    )
    op.create_index("reject_last", "reject", ["last_at_ns", "id", "count"], unique=False)
