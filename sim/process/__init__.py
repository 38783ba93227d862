"""Acts that change state: each is a verb that changes its first argument and says so."""
