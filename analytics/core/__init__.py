"""The rules: arrays and limits in, episodes and findings out. No I/O, no clock, no database."""
