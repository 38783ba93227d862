"""flatwright: a sandbox for learning to scrape cast iron flat."""

__version__ = "0.1.0"
