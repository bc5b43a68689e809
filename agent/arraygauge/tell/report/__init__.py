"""The report: one page to print or hand over, with everything in it."""
