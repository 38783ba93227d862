"""Trials: many jobs by many ways of working, compared on the same faces and the same luck."""
