"""Those who scrape: a hand's scatter, the laying of strokes, and a pilot that follows the blue."""
