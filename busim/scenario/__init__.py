"""Scenarios: what people do, what breaks and when, and what must come of it, as a YAML file."""
