"""The simulated microcontroller round one node."""
