"""Claims: what was said before the trial, judged by what was read."""
