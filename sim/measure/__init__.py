"""Looking, never writing: flatness, spots, grades."""
