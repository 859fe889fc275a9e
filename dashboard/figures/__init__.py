"""Figures: pure functions from data to a plotly figure. No store, no Dash, no clock."""
