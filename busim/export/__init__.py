"""What others need of a boat, written to files: C for firmware, test vectors, databases. Everything comes from the protocol's own
tables and the boat file; nothing is defined here a second time."""
