"""The school: calls and drills scored, a coach, lessons, a class."""
