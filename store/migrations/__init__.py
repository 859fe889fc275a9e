"""Changes of the tables, one file each, run by Alembic when a store is opened."""
