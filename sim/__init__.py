"""flatwright: a sandbox for learning to scrape cast iron flat."""

__version__ = "0.1.0"
PHYSICS = 10  # goes up in every commit that changes any result; job files carry it
