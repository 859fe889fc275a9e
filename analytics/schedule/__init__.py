"""The schedule: what a running Bondtrail does by itself, and who watches over it."""

from analytics.schedule.running import Jobs

__all__ = ["Jobs"]
