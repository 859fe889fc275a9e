"""The board's questions to the store: each answer holds what one page shows, and no more."""
