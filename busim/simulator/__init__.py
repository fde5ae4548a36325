"""The simulator: the kernel's queue and loop, and the world that is built from a boat and run through time."""
