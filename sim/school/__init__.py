"""School: what a learner called is scored, and a coach speaks of what a shop shows."""
