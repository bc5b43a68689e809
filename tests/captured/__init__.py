"""Real trees of /sys and /proc, each kept as one plain-text archive with a facts file."""
