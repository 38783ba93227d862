"""Books: what a learner did and how it came out, kept in one file on this machine."""
