"""The job: its state, the commands that change it, the log that remembers them, and what a person may see."""
