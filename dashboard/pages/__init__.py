"""The pages. Dash imports them when it makes the board: none can be imported before."""
