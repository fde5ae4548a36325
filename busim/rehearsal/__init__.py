"""A run that somebody plays: actions and faults come one by one, and at any moment it can be looked at. Knows no screen."""
