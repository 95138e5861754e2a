"""What the pictures of an exam show of each eye, and whether a rule set calls that complete; beside `mapping`."""
