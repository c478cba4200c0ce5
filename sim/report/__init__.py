"""One page that says what a store found: gathered here, written by templates, opened from disk without a network."""
