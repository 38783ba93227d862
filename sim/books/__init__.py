"""Books: what is kept of learners and of real jobs."""
