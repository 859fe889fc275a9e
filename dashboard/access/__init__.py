"""Signing in: who may see the board where others than this machine can reach it."""

from dashboard.access.terms import OPEN, Access

__all__ = ["OPEN", "Access"]
