"""Evidence: one transfer with all that is known of it, in a zip that stands alone."""
