"""The board: pages, and the figures and questions to the store behind them."""

from dashboard.app import create_app, serve

__all__ = ["create_app", "serve"]
