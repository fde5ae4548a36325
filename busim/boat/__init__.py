"""The boat file: reading it with positions, its model, its rules, and what follows from it."""
