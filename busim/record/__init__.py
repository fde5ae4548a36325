"""The record of a run: written a second at a time, read back, and rerun to the same digest."""
