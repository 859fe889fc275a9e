"""The changes, oldest first."""
