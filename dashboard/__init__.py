"""The board: pages, and the figures and questions to the store behind them."""

from dashboard.app import create_app
from dashboard.serving import serve

__all__ = ["create_app", "serve"]
