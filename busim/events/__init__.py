"""What happened: the closed table of events, the journal that keeps them, and the one reading of them (the situation)."""
