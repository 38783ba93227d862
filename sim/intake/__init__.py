"""What comes from outside: tables of points, level readings. Everything is checked here, once."""
