"""What runs in the probing processes: the standard library only, so that they start fast."""
