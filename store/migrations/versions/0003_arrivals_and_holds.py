"""When readings arrived, which of them were replaced or rejected, and which must be kept.

Readings from before have no arrival, what was replaced before is gone, and rejects from before do
not say of which reading they are: nobody noted it.
"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "arrival",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("point_id", sa.BigInteger(), nullable=False),
        sa.Column("first_ns", sa.BigInteger(), nullable=False),
        sa.Column("last_ns", sa.BigInteger(), nullable=False),
        sa.Column("arrived_ns", sa.BigInteger(), nullable=True),
        sa.Column("lag_least_ns", sa.BigInteger(), nullable=True),
        sa.Column("lag_most_ns", sa.BigInteger(), nullable=True),
        sa.Column("seen_least_ns", sa.BigInteger(), nullable=True),
        sa.Column("seen_most_ns", sa.BigInteger(), nullable=True),
        sa.Column("checksum", sa.BigInteger(), nullable=True),
        sa.Column("block", sa.LargeBinary(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sqlite_autoincrement=True,
    )
    op.create_index("arrival_last", "arrival", ["point_id", "last_ns", "first_ns"], unique=False)
    op.create_table(
        "replaced",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("point_id", sa.BigInteger(), nullable=False),
        sa.Column("at_ns", sa.BigInteger(), nullable=True),
        sa.Column("first_ns", sa.BigInteger(), nullable=False),
        sa.Column("last_ns", sa.BigInteger(), nullable=False),
        sa.Column("samples", sa.BigInteger(), nullable=False),
        sa.Column("checksum", sa.BigInteger(), nullable=False),
        sa.Column("block", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sqlite_autoincrement=True,
    )
    op.create_index("replaced_last", "replaced", ["point_id", "last_ns", "first_ns"], unique=False)
    op.create_table(
        "hold",
        sa.Column("number", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("at_ns", sa.BigInteger(), nullable=False),
        sa.Column("author", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("start_ns", sa.BigInteger(), nullable=False),
        sa.Column("end_ns", sa.BigInteger(), nullable=False),
        sa.Column("transfer", sa.Text(), nullable=True),
        sa.Column("released_at_ns", sa.BigInteger(), nullable=True),
        sa.Column("released_by", sa.Text(), nullable=True),
        sa.Column("released_why", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("number"),
    )
    op.create_index("hold_start", "hold", ["station", "start_ns"], unique=False)
    op.add_column("reject", sa.Column("point", sa.Text(), nullable=True))
    op.add_column("reject", sa.Column("time_ns", sa.BigInteger(), nullable=True))
    op.create_index("reject_time", "reject", ["point", "time_ns"], unique=False)
    dialect = op.get_bind().dialect.name
    for statement in (*GUARDS[dialect], *GUARDS_OF_REPLACED[dialect]):
        op.execute(statement)


REFUSAL = "a hold is kept for good: it can only be released, once"

KEPT = ("number", "at_ns", "author", "why", "station", "start_ns", "end_ns", "transfer")
RELEASE = ("released_at_ns", "released_by", "released_why")


def is_no_release(differs: str) -> str:
    """Return the condition of an update that does anything but release a hold in force."""
    changed = " or ".join(f"new.{name} {differs} old.{name}" for name in KEPT)
    half = " or ".join(f"new.{name} is null" for name in RELEASE)
    return f"old.released_at_ns is not null or {half} or {changed}"


GUARDS = {
    "sqlite": [
        "create trigger hold_no_delete before delete on hold "
        f"begin select raise(abort, '{REFUSAL}'); end",
        f"create trigger hold_no_update before update on hold when {is_no_release('is not')} "
        f"begin select raise(abort, '{REFUSAL}'); end",
        # A row put in the place of another would take that away without asking the triggers above.
        "create trigger hold_no_replace before insert on hold "
        "when exists (select 1 from hold where number = new.number) "
        f"begin select raise(abort, '{REFUSAL}'); end",
    ],
    "postgresql": [
        "create function hold_refuse() returns trigger language plpgsql as "
        f"$$ begin raise exception '{REFUSAL}'; end $$",
        "create trigger hold_no_delete before delete on hold "
        "for each row execute function hold_refuse()",
        "create trigger hold_no_truncate before truncate on hold "
        "for each statement execute function hold_refuse()",
        "create trigger hold_no_update before update on hold for each row "
        f"when ({is_no_release('is distinct from')}) execute function hold_refuse()",
    ],
}

KEPT_FOR_GOOD = "what was replaced is kept for good: it is not changed and not deleted"

GUARDS_OF_REPLACED = {
    "sqlite": [
        "create trigger replaced_no_delete before delete on replaced "
        f"begin select raise(abort, '{KEPT_FOR_GOOD}'); end",
        "create trigger replaced_no_update before update on replaced "
        f"begin select raise(abort, '{KEPT_FOR_GOOD}'); end",
        "create trigger replaced_no_replace before insert on replaced "
        "when exists (select 1 from replaced where id = new.id) "
        f"begin select raise(abort, '{KEPT_FOR_GOOD}'); end",
    ],
    "postgresql": [
        "create function replaced_refuse() returns trigger language plpgsql as "
        f"$$ begin raise exception '{KEPT_FOR_GOOD}'; end $$",
        "create trigger replaced_no_delete before delete on replaced "
        "for each row execute function replaced_refuse()",
        "create trigger replaced_no_update before update on replaced "
        "for each row execute function replaced_refuse()",
        "create trigger replaced_no_truncate before truncate on replaced "
        "for each statement execute function replaced_refuse()",
    ],
}
