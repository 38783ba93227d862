"""School: reading drills, lessons, and what is said about them."""
